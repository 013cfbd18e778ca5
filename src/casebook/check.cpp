#include "src/casebook/check.hpp"

#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/sound_store.hpp"

#include <algorithm>
#include <set>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

void compare(const Json* stored, const Json* now, const std::string& name, std::vector<FigureDifference>& found,
             std::size_t& figures) {
    const auto shown = [](const Json* j) {
        return j ? j->dump(-1, ' ', false, Json::error_handler_t::replace) : "absent";
    };
    if (stored && now && stored->is_object() && now->is_object()) {
        // What only the newer program tells was not stored, so it can't differ.
        for (const auto& item : stored->items()) {
            const auto b = now->find(item.key());
            compare(&item.value(), b == now->end() ? nullptr : &*b,
                    name.empty() ? item.key() : fmt::format("{}.{}", name, item.key()), found, figures);
        }
        return;
    }
    if (stored && now && stored->is_array() && now->is_array()) {
        for (std::size_t i = 0; i < std::max(stored->size(), now->size()); ++i)
            compare(i < stored->size() ? &(*stored)[i] : nullptr, i < now->size() ? &(*now)[i] : nullptr,
                    fmt::format("{}[{}]", name, i), found, figures);
        return;
    }
    ++figures;
    if (!stored || !now || *stored != *now) found.push_back({name, shown(stored), shown(now), ""});
}

bool measured_from_audio(const std::string& kind) {
    return kind == "idle" || kind == "spray" || kind == "guided" || kind == "heard" || kind == "balance" ||
           kind == "injectors" || kind == "hiss";
}

void check_tables(Database& db, CheckReport& report) {
    try {
        Statement s{db, "PRAGMA integrity_check(20)"};
        while (s.step())
            if (s.text(0) != "ok") report.faults.push_back("case.sqlite: " + s.text(0));
        if (!report.faults.empty()) return;  // nothing that looks rows up can be trusted to end soon
        Statement keys{db, "PRAGMA foreign_key_check"};
        while (keys.step())
            report.faults.push_back(fmt::format("case.sqlite: row {} of {} belongs to a row of {} that is not there",
                                                keys.whole(1), keys.text(0), keys.text(2)));
    } catch (const DatabaseFault& fault) {
        report.faults.push_back(fault.error.what);
    }
}

void check_recording(const Casebook& book, const CaseRecording& r, CheckReport& report) {
    if (const auto nothing = book.never_begun(r); nothing && nothing.value()) {
        report.notes.push_back(
            fmt::format("recording {} (audio/{}) never began, or is beginning now; `case repair` takes its note back",
                        r.id, r.file));
        return;
    }
    const auto path = book.audio_path(r);
    if (!path) {
        report.faults.push_back(fmt::format("recording {}: {}", r.id, path.error().what));
        return;
    }
    if (r.running) {
        report.notes.push_back(fmt::format(
            "recording {} (audio/{}) was never closed, or is being made now; `case repair` closes it", r.id, r.file));
        return;
    }
    if (const auto unread = marks_beside(path.value()).unread; !unread.empty())
        report.notes.push_back(fmt::format("recording {}: {}; what it says is not in the case", r.id, unread));
    const auto print = fingerprint_of(path.value());
    if (!print)
        report.faults.push_back(fmt::format("recording {}: {}", r.id, print.error().what));
    else if (print.value() != r.fingerprint)
        report.faults.push_back(
            fmt::format("recording {}: audio/{} is not what was stored: its bytes have changed", r.id, r.file));
}

/// The files of a part that no row names.
void check_strangers(const CaseFolder& folder, std::string_view part, const std::set<std::string>& known,
                     CheckReport& report) {
    for (const auto& name : folder.files(part)) {
        if (name.ends_with(".part")) {
            report.notes.push_back(fmt::format("{}/{} is left over from a copy that was cut off", part, name));
            continue;
        }
        if (known.contains(name) || name.ends_with(".csv") || name.ends_with(".json")) continue;
        report.faults.push_back(
            fmt::format("{}/{} is not in the case's tables; `case repair` takes it in", part, name));
    }
}

void check_result(const Casebook& book, const CaseResult& r, CheckReport& report) {
    const auto name = fmt::format("visit {}, result {} ({})", r.visit, r.id, r.kind);
    const auto what = measurement_of(book, r);
    if (!what) {
        report.faults.push_back(fmt::format("{}: {}", name, what.error().what));
        return;
    }
    const auto again = measure(book, what.value());
    if (!again) {
        report.faults.push_back(fmt::format("{}: cannot be made again: {}", name, again.error().what));
        return;
    }
    ++report.results;
    auto found = differences_of(r.figures, again.value().figures, report.figures);
    if (const auto trace = book.trace(r.id); trace && !trace.value().empty()) {
        ++report.figures;
        if (trace_bytes(trace.value()) != trace_bytes(again.value().trace))
            found.push_back({"speed over time", "as stored", "another", ""});
    }
    for (auto& d : found) {
        d.name = name + ": " + d.name;
        d.program = r.program;
        report.differences.push_back(std::move(d));
    }
}

}  // namespace

std::vector<FigureDifference> differences_of(const Json& stored, const Json& now, std::size_t& figures) {
    std::vector<FigureDifference> found;
    compare(&stored, &now, "", found, figures);
    return found;
}

Result<CheckReport> check_case(const Casebook& book, CheckDepth depth,
                               const std::function<void(std::size_t, std::size_t)>& progress) {
    CheckReport report;
    check_tables(book.tables(), report);
    const auto recordings = book.recordings();
    if (!recordings) return recordings.error();
    const auto results = book.results();
    if (!results) return results.error();
    const auto pictures = book.pictures();
    if (!pictures) return pictures.error();
    const std::size_t total = recordings.value().size() + (depth == CheckDepth::figures ? results.value().size() : 0);
    std::size_t done = 0;
    const auto step = [&] {
        if (progress) progress(++done, total);
    };
    std::set<std::string> audio;
    for (const auto& r : recordings.value()) {
        audio.insert(r.file);
        check_recording(book, r, report);
        ++report.recordings;
        step();
    }
    check_strangers(book.folder(), "audio", audio, report);
    std::set<std::string> shown;
    for (const auto& p : pictures.value()) {
        shown.insert(p.file);
        if (const auto path = book.picture_path(p); !path) report.faults.push_back("picture: " + path.error().what);
    }
    check_strangers(book.folder(), "pictures", shown, report);
    if (depth == CheckDepth::figures)
        for (const auto& r : results.value()) {
            if (measured_from_audio(r.kind)) check_result(book, r, report);
            step();
        }
    return report;
}

std::string check_table(const CheckReport& report) {
    std::string text;
    for (const auto& f : report.faults) text += "fault: " + f + "\n";
    for (const auto& d : report.differences)
        text += fmt::format("differs: {}\n  stored  {}  (by {})\n  now     {}\n", d.name, d.stored, d.program, d.now);
    for (const auto& n : report.notes) text += "note: " + n + "\n";
    const auto counted = [](std::size_t n, std::string_view one, std::string_view many) {
        return fmt::format("{} {}", n, n == 1 ? one : many);
    };
    text += fmt::format(
        "{} looked at; {} made again, {} compared: {}\n", counted(report.recordings, "recording", "recordings"),
        counted(report.results, "result", "results"), counted(report.figures, "figure", "figures"),
        report.sound() ? "all agree"
                       : fmt::format("{}, {}", counted(report.faults.size(), "fault", "faults"),
                                     counted(report.differences.size(), "figure differs", "figures differ")));
    return text;
}

Json check_json(const CheckReport& report) {
    Json json{{"faults", report.faults},         {"differences", Json::array()}, {"notes", report.notes},
              {"recordings", report.recordings}, {"results", report.results},    {"figures", report.figures}};
    for (const auto& d : report.differences)
        json["differences"].push_back({{"name", d.name}, {"stored", d.stored}, {"now", d.now}, {"program", d.program}});
    return json;
}

}  // namespace idlehark
