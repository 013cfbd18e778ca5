#include "src/casebook/case_text.hpp"

#include "src/casebook/case_folder.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <map>

#include <fmt/format.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;

std::string text_in(const Json& object, const char* key) {
    const auto at = object.find(key);
    return at != object.end() && at->is_string() ? at->get<std::string>() : std::string{};
}

/// "8, 11": the rows of a list in `figures` whose verdict is `verdict`.
std::vector<std::string> with_verdict(const Json& figures, const char* list, const char* key,
                                      std::string_view verdict) {
    std::vector<std::string> found;
    const auto rows = figures.find(list);
    if (rows == figures.end() || !rows->is_array()) return found;
    for (const auto& row : *rows) {
        if (!row.is_object() || text_in(row, "verdict") != verdict) continue;
        if (const auto bursts = row.find("bursts"); bursts != row.end() && *bursts == 0) continue;  // never tested
        const auto name = row.find(key);
        if (name == row.end()) continue;
        found.push_back(name->is_string() ? name->get<std::string>() : name->dump());
    }
    return found;
}

std::string joined(const std::vector<std::string>& words) {
    std::string text;
    for (const auto& w : words) text += (text.empty() ? "" : ", ") + w;
    return text;
}

std::string counted(std::size_t n, std::string_view one, std::string_view many) {
    return fmt::format("{} {}", n, n == 1 ? one : many);
}

std::string spray_finding(const Json& figures) {
    const auto leaks = with_verdict(figures, "spots", "spot", "leak");
    const auto open = with_verdict(figures, "spots", "spot", "undecided");
    auto text = leaks.empty() ? std::string{"no leak proven"}
                              : fmt::format("{}: {}", counted(leaks.size(), "leak", "leaks"), joined(leaks));
    if (!open.empty()) text += fmt::format("; undecided: {}", joined(open));
    return text;
}

std::string set_finding(const Json& figures, const char* list, const char* key, const char* usual,
                        std::string_view all_well) {
    std::string text;
    const auto rows = figures.find(list);
    if (rows == figures.end() || !rows->is_array()) return text;
    for (const auto& row : *rows) {
        const auto verdict = text_in(row, "verdict");
        const auto name = row.find(key);
        if (verdict == usual || name == row.end()) continue;
        text += fmt::format("{}{} {}", text.empty() ? "" : ", ",
                            name->is_string() ? name->get<std::string>() : name->dump(), verdict);
    }
    return text.empty() ? std::string{all_well} : text;
}

std::string range(const std::optional<double>& low, const std::optional<double>& high) {
    if (low && high) return fmt::format("{:g} to {:g}", *low, *high);
    if (low) return fmt::format("{:g} or more", *low);
    if (high) return fmt::format("up to {:g}", *high);
    return "";
}

std::vector<LogEntry> latest(const std::vector<LogEntry>& log) {
    std::vector<LogEntry> kept;
    std::map<std::string_view, std::size_t> place;
    for (const auto& entry : log) {
        const auto [at, is_new] = place.emplace(entry.name, kept.size());
        if (is_new)
            kept.push_back(entry);
        else
            kept[at->second] = entry;
    }
    return kept;
}

std::string length_text(const CaseRecording& r) {
    if (r.running) return "not closed";
    return fmt::format("{:.0f} s, {:.0f} Hz", r.length_s(), r.sample_rate_hz);
}

Json number_or_null(const std::optional<double>& x) { return x ? Json(*x) : Json(nullptr); }
Json id_or_null(const std::optional<RowId>& x) { return x ? Json(*x) : Json(nullptr); }

Result<std::string> visit_table(const Casebook& book, const Visit& v) {
    auto text = fmt::format("\nvisit {}  {}  {}{}\n", v.id, v.date, v.title,
                            v.warmth == Warmth::not_said ? "" : fmt::format("  ({} engine)", word(v.warmth)));
    if (!v.gain.empty()) text += fmt::format("  recording gain: {}\n", v.gain);
    if (!v.note.empty()) text += fmt::format("  {}\n", v.note);
    const auto recordings = book.recordings(v.id);
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value()) {
        const auto marks = book.marks(r.id);
        if (!marks) return marks.error();
        const auto count = static_cast<std::size_t>(
            std::count_if(marks.value().begin(), marks.value().end(), [](const CaseMark& m) { return !m.withdrawn; }));
        text += fmt::format("  recording {}  audio/{}  {}  {}{}\n", r.id, r.file, word(r.kind), length_text(r),
                            count > 0 ? ", " + counted(count, "mark", "marks") : "");
    }
    const auto results = book.latest_results(v.id);
    if (!results) return results.error();
    for (const auto& r : results.value()) text += fmt::format("  {:<10} {}\n", r.kind, finding_of(r));
    return text;
}

Result<Json> visit_json(const Casebook& book, const Visit& v) {
    Json json{{"id", v.id},
              {"date", v.date},
              {"title", v.title},
              {"warmth", word(v.warmth)},
              {"gain", v.gain},
              {"note", v.note},
              {"gate", Json::array()},
              {"recordings", Json::array()},
              {"results", Json::array()}};
    const auto answers = book.gate_answers(v.id);
    if (!answers) return answers.error();
    for (const auto& a : answers.value())
        json["gate"].push_back({{"question", a.question}, {"answer", a.answer}, {"answered_at", a.answered_at}});
    const auto recordings = book.recordings(v.id);
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value()) {
        Json row{{"id", r.id},
                 {"kind", word(r.kind)},
                 {"file", "audio/" + r.file},
                 {"channel", r.channel},
                 {"started_at", r.started_at},
                 {"running", r.running},
                 {"sample_rate_hz", r.running ? Json(nullptr) : Json(r.sample_rate_hz)},
                 {"channels", r.channels},
                 {"frames", r.frames},
                 {"fingerprint", r.fingerprint},
                 {"gaps", Json::array()},
                 {"marks", Json::array()}};
        const auto gaps = book.gaps(r.id);
        if (!gaps) return gaps.error();
        for (const auto& g : gaps.value()) row["gaps"].push_back({{"frame", g.frame}, {"lost_frames", g.lost_frames}});
        const auto marks = book.marks(r.id);
        if (!marks) return marks.error();
        for (const auto& m : marks.value())
            row["marks"].push_back({{"time_s", m.time_s},
                                    {"spot", m.spot},
                                    {"source", m.heard ? "heard" : "hand"},
                                    {"withdrawn", m.withdrawn}});
        json["recordings"].push_back(std::move(row));
    }
    const auto guided = book.guided(v.id);
    if (!guided) return guided.error();
    json["guided"] = guided.value() ? visit_record_json(*guided.value()) : Json(nullptr);
    const auto results = book.results(v.id);
    if (!results) return results.error();
    for (const auto& r : results.value()) {
        Json row{{"id", r.id},
                 {"kind", r.kind},
                 {"program", r.program},
                 {"made_at", r.made_at},
                 {"engine", r.engine},
                 {"map", id_or_null(r.map)},
                 {"settings", r.settings},
                 {"recordings", Json::array()},
                 {"answered", r.answered},
                 {"figures", r.figures}};
        for (const auto& s : r.sources)
            row["recordings"].push_back({{"recording", s.recording}, {"label", s.label}, {"gain_db", s.gain_db}});
        json["results"].push_back(std::move(row));
    }
    return json;
}

Result<std::vector<Visit>> chosen(const Casebook& book, std::optional<RowId> visit) {
    if (!visit) return book.visits();
    auto one = book.visit(*visit);
    if (!one) return one.error();
    return std::vector<Visit>{one.value()};
}

CaseSummary summary_of(const std::string& folder) {
    CaseSummary s;
    s.folder = fs::path{folder}.filename().string();
    const auto fail = [&](const Error& e) {
        s.fault = e.what;
        return s;
    };
    const auto book = Casebook::open(folder, Casebook::Access::read);
    if (!book) return fail(book.error());
    const auto car = book.value().car();
    if (!car) return fail(car.error());
    s.name = car.value().name;
    if (const auto engine = book.value().engine()) s.engine = engine.value().engine.name;
    const auto visits = book.value().visits();
    if (!visits) return fail(visits.error());
    s.visits = visits.value().size();
    if (visits.value().empty()) return s;
    const auto& last = visits.value().back();
    s.last_date = last.date.substr(0, 10);
    s.last_title = last.title;
    const auto results = book.value().latest_results(last.id);
    if (!results) return fail(results.error());
    for (const auto& r : results.value())
        if (r.kind == "spray" || r.kind == "guided") s.finding = finding_of(r);
    if (s.finding.empty() && !results.value().empty()) s.finding = finding_of(results.value().back());
    return s;
}

}  // namespace

std::string finding_of(const CaseResult& result) {
    const auto& f = result.figures;
    if (!result.answered) return "no answer: " + text_in(f, "reason");
    if (result.kind == "spray" || result.kind == "guided") return spray_finding(f);
    if (result.kind == "balance") return text_in(f, "summary");
    if (result.kind == "injectors")
        return set_finding(f, "injectors", "cylinder", "regular", "all injectors click regularly");
    if (result.kind == "hiss") {
        const auto out = with_verdict(f, "spots", "spot", "stands out");
        if (!out.empty()) return "stands out: " + joined(out);
        auto loud = with_verdict(f, "spots", "spot", "loud, open");
        const auto steady = with_verdict(f, "spots", "spot", "loud, steady");
        loud.insert(loud.end(), steady.begin(), steady.end());
        return loud.empty() ? std::string{"no spot stands out"} : "no spot stands out; louder: " + joined(loud);
    }
    if (result.kind == "heard") return "kept to compare visits by";
    if (result.kind == "idle") {
        const auto rpm = f.find("rpm");
        const auto spread = f.find("spread_rpm");
        if (rpm != f.end() && rpm->is_number() && spread != f.end() && spread->is_number())
            return fmt::format("{:.0f} rpm, spread {:.0f} rpm", rpm->get<double>(), spread->get<double>());
    }
    return text_in(f, "summary");
}

Result<std::vector<CaseSummary>> list_cases(const std::string& folder) {
    std::error_code code;
    std::vector<std::string> folders;
    if (is_there(folder + "/case.sqlite")) folders.push_back(CaseFolder{folder}.path());
    fs::directory_iterator at{folder, code};
    if (code) return Error{fmt::format("{}: {}", folder, code.message()), "Name a folder that holds cases."};
    for (; !code && at != fs::directory_iterator{}; at.increment(code)) {
        if (is_there(at->path() / "case.sqlite")) folders.push_back(at->path().string());
    }
    std::sort(folders.begin(), folders.end());
    std::vector<CaseSummary> cases;
    cases.reserve(folders.size());
    for (const auto& f : folders) cases.push_back(summary_of(f));
    return cases;
}

std::string cases_table(const std::vector<CaseSummary>& cases) {
    std::string text;
    for (const auto& c : cases) {
        if (!c.fault.empty()) {
            text += fmt::format("{}\n  cannot be read: {}\n", printable(c.folder), printable(c.fault));
            continue;
        }
        text += fmt::format("{}  {}{}  {}\n", printable(c.folder), c.name,
                            c.engine.empty() || c.engine == c.name ? "" : ", " + c.engine,
                            counted(c.visits, "visit", "visits"));
        if (c.visits > 0)
            text +=
                fmt::format("  last {}  {}{}\n", c.last_date, c.last_title, c.finding.empty() ? "" : ": " + c.finding);
    }
    return text.empty() ? "no cases here\n" : text;
}

Json cases_json(const std::vector<CaseSummary>& cases) {
    Json json = Json::array();
    for (const auto& c : cases) {
        if (!c.fault.empty()) {
            json.push_back({{"folder", printable(c.folder)}, {"fault", printable(c.fault)}});
            continue;
        }
        json.push_back({{"folder", printable(c.folder)},
                        {"name", c.name},
                        {"engine", c.engine},
                        {"visits", c.visits},
                        {"last_date", c.last_date},
                        {"last_title", c.last_title},
                        {"finding", c.finding}});
    }
    return json;
}

Result<std::string> case_table(const Casebook& book, std::optional<RowId> visit) {
    const auto car = book.car();
    if (!car) return car.error();
    const auto engine = book.engine();
    auto text = fmt::format("{}\n", car.value().name);
    if (engine) {
        const auto& e = engine.value().engine;
        text += fmt::format("{}: {}, {}-stroke, idle {:g} to {:g} rpm\n", e.name.empty() ? "engine" : e.name,
                            counted(static_cast<std::size_t>(e.cylinders), "cylinder", "cylinders"), e.strokes,
                            e.idle_low_rpm, e.idle_high_rpm);
    } else {
        text += engine.error().what + "\n";
    }
    const auto map = book.map();
    if (!map) return map.error();
    if (map.value()) text += fmt::format("map: {}\n", counted(map.value()->map.spots.size(), "spot", "spots"));
    const auto log = book.log();
    if (!log) return log.error();
    if (!log.value().empty() && !visit) {
        text += "\nchecked by other means\n";
        for (const auto& e : latest(log.value())) {
            const auto limits = range(e.low, e.high);
            text += fmt::format("  {:<9} {}{}{}{}\n", word(e.state), e.name,
                                e.reading ? fmt::format(": {:g} {}", *e.reading, e.unit) : "",
                                limits.empty() ? "" : fmt::format(" (manual: {} {})", limits, e.unit),
                                e.note.empty() ? "" : "; " + e.note);
        }
    }
    const auto visits = chosen(book, visit);
    if (!visits) return visits.error();
    for (const auto& v : visits.value()) {
        const auto part = visit_table(book, v);
        if (!part) return part.error();
        text += part.value();
    }
    const auto notes = book.notes();
    if (!notes) return notes.error();
    for (const auto& n : notes.value())
        if (!visit || n.visit == visit) text += fmt::format("\nnote, {}: {}\n", n.added_at.substr(0, 10), n.text);
    const auto pictures = book.pictures();
    if (!pictures) return pictures.error();
    for (const auto& p : pictures.value())
        if (!visit || p.visit == visit)
            text += fmt::format("\npicture: pictures/{}{}\n", p.file, p.title.empty() ? "" : "  " + p.title);
    return text;
}

Result<Json> case_json(const Casebook& book, std::optional<RowId> visit) {
    const auto car = book.car();
    if (!car) return car.error();
    const auto engine = book.engine();
    const auto map = book.map();
    if (!map) return map.error();
    Json json{{"car", car.value().name},
              {"created_at", car.value().created_at},
              {"engine", engine ? engine_json(engine.value().engine) : Json(nullptr)},
              {"map", map.value() ? map_json(map.value()->map) : Json(nullptr)},
              {"log", Json::array()},
              {"visits", Json::array()},
              {"notes", Json::array()},
              {"pictures", Json::array()}};
    const auto log = book.log();
    if (!log) return log.error();
    for (const auto& e : log.value())
        json["log"].push_back({{"visit", id_or_null(e.visit)},
                               {"name", e.name},
                               {"low", number_or_null(e.low)},
                               {"high", number_or_null(e.high)},
                               {"unit", e.unit},
                               {"reading", number_or_null(e.reading)},
                               {"state", word(e.state)},
                               {"note", e.note},
                               {"added_at", e.added_at}});
    const auto visits = chosen(book, visit);
    if (!visits) return visits.error();
    for (const auto& v : visits.value()) {
        auto part = visit_json(book, v);
        if (!part) return part.error();
        json["visits"].push_back(std::move(part.value()));
    }
    const auto notes = book.notes();
    if (!notes) return notes.error();
    for (const auto& n : notes.value())
        json["notes"].push_back({{"visit", id_or_null(n.visit)}, {"text", n.text}, {"added_at", n.added_at}});
    const auto pictures = book.pictures();
    if (!pictures) return pictures.error();
    for (const auto& p : pictures.value())
        json["pictures"].push_back(
            {{"visit", id_or_null(p.visit)}, {"file", "pictures/" + p.file}, {"title", p.title}});
    return json;
}

}  // namespace idlehark
