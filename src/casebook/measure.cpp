#include "src/casebook/measure.hpp"

#include "src/analysis/balance_check.hpp"
#include "src/analysis/hiss_check.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/analysis/spray_session.hpp"
#include "src/casebook/heard_record.hpp"
#include "src/files/csv.hpp"
#include "src/report/verdict_text.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

double rounded(double x) { return std::round(x * 1000.0) / 1000.0; }

/// Every text without the case's own path in it, so that figures are the same wherever the case lies.
void make_relative(Json& json, const std::string& folder) {
    if (json.is_string()) {
        auto text = json.get<std::string>();
        for (auto at = text.find(folder); at != std::string::npos; at = text.find(folder, at))
            text.erase(at, folder.size());
        json = text;
    } else if (json.is_structured()) {
        for (auto& item : json) make_relative(item, folder);
    }
}

Measured no_answer(const Error& why) {
    return {.answered = false, .figures = {{"reason", why.what}, {"hint", why.hint}}, .trace = {}};
}

Json parsed(const std::string& text) { return Json::parse(text, nullptr, false); }

int channel_of(const Measurement& what) {
    const auto at = what.settings.find("channel");
    return at != what.settings.end() && at->is_number_integer() ? at->get<int>() : 1;
}

double quantile(const std::vector<double>& sorted, double share) {
    const double place = share * static_cast<double>(sorted.size() - 1);
    const auto low = static_cast<std::size_t>(place);
    const auto high = std::min(low + 1, sorted.size() - 1);
    return sorted[low] + (place - static_cast<double>(low)) * (sorted[high] - sorted[low]);
}

Result<Measured> measure_idle(const ListenRequest& listen) {
    Measured m;
    const auto heard = listen_through(
        listen, {.readings = [&](std::span<const RpmReading> r) { m.trace.insert(m.trace.end(), r.begin(), r.end()); },
                 .start = {},
                 .sound = {},
                 .progress = {}});
    if (!heard) return heard.error();
    if (const auto why = why_no_lock(heard.value(), listen)) return no_answer(*why);
    std::vector<double> speeds;
    for (const auto& r : m.trace)
        if (r.locked) speeds.push_back(r.rpm);
    std::sort(speeds.begin(), speeds.end());
    m.figures = {{"rpm", rounded(quantile(speeds, 0.5))},
                 {"spread_rpm", rounded(quantile(speeds, 0.95) - quantile(speeds, 0.05))},
                 {"locked_share", rounded(static_cast<double>(speeds.size()) / static_cast<double>(m.trace.size()))},
                 {"length_s", rounded(heard.value().length_s)},
                 {"cautions", heard.value().warnings}};
    return m;
}

Result<std::vector<Mark>> marks_in(const Json& settings) {
    std::vector<Mark> marks;
    const auto list = settings.find("marks");
    if (list == settings.end() || !list->is_array()) return Error{"the settings hold no marks", ""};
    for (const auto& pair : *list) {
        if (!pair.is_array() || pair.size() != 2 || !pair[0].is_number() || !pair[1].is_string())
            return Error{"the settings hold a mark that is none", ""};
        marks.push_back({.time_s = pair[0].get<double>(), .spot = pair[1].get<std::string>(), .extra = {}, .line = 0});
    }
    return marks;
}

Result<Measured> measure_spray(const Measurement& what, const ListenRequest& listen) {
    auto marks = marks_in(what.settings);
    if (!marks) return marks.error();
    SprayRequest request;
    request.listen = listen;
    if (what.map) request.map = what.map->map;
    request.marks = std::move(marks.value());
    request.marks_file = "marks";
    if (const auto at = what.settings.find("matters_rpm"); at != what.settings.end() && at->is_number())
        request.matters_rpm = at->get<double>();
    const auto outcome = judge_spray(request, {});
    if (const auto* failure = std::get_if<SprayFailure>(&outcome)) return no_answer(failure->error);
    const auto& answer = std::get<SprayAnswer>(outcome);
    Measured m{.answered = true, .figures = parsed(verdict_json(answer.view)), .trace = {}};
    m.figures["length_s"] = rounded(answer.view.length_s);
    m.figures["bursts"] = Json::array();
    for (const auto& b : answer.view.bursts)
        m.figures["bursts"].push_back({{"time_s", rounded(b.time_s)}, {"spot", b.spot}});
    return m;
}

Result<Measured> measure_heard(const Measurement& what, const ListenRequest& listen) {
    VisitRequest request;
    request.listen = listen;
    if (what.settings.contains("marks")) {
        auto marks = marks_in(what.settings);
        if (!marks) return marks.error();
        request.marks = std::move(marks.value());
    }
    auto outcome = hear_visit(request, {});
    if (const auto* failure = std::get_if<VisitFailure>(&outcome)) return no_answer(failure->error);
    auto& visit = std::get<HeardVisit>(outcome);
    return Measured{.answered = true, .figures = heard_json(visit), .trace = std::move(visit.readings)};
}

Result<Measured> measure_balance(const ListenRequest& listen) {
    BalanceRequest request;
    request.listen = listen;
    const auto outcome = check_balance(request, {});
    if (const auto* failure = std::get_if<BalanceFailure>(&outcome)) return no_answer(failure->error);
    return Measured{.answered = true, .figures = parsed(balance_json(std::get<BalanceView>(outcome))), .trace = {}};
}

Result<Measured> measure_injectors(const Measurement& what, const std::vector<std::string>& paths) {
    InjectorRequest request;
    request.engine = what.engine.engine;
    request.channel = channel_of(what);
    for (std::size_t i = 0; i < paths.size(); ++i) {
        const auto cylinder = parse_number(what.sources[i].second.label);
        if (!cylinder || std::fabs(*cylinder) > 1000.0)
            return Error{fmt::format("\"{}\" is no cylinder", what.sources[i].second.label), ""};
        request.recordings.emplace_back(static_cast<int>(*cylinder), paths[i]);
    }
    const auto outcome = judge_injectors(request, {});
    if (const auto* failure = std::get_if<InjectorFailure>(&outcome)) {
        if (!failure->sound_is_why) return failure->error;
        return no_answer(failure->error);
    }
    return Measured{.answered = true, .figures = parsed(injector_json(std::get<InjectorView>(outcome))), .trace = {}};
}

Result<Measured> measure_hiss(const Measurement& what, const std::vector<std::string>& paths) {
    HissRequest request;
    request.engine = what.engine.engine;
    request.channel = channel_of(what);
    const auto gain = what.settings.find("gain");
    request.declared = gain != what.settings.end() && *gain == "declared";
    for (std::size_t i = 0; i < paths.size(); ++i)
        request.recordings.push_back({what.sources[i].second.label, paths[i], what.sources[i].second.gain_db});
    const auto outcome = check_hiss(request, {});
    if (const auto* failure = std::get_if<HissFailure>(&outcome)) {
        if (!failure->sound_is_why) return failure->error;
        return no_answer(failure->error);
    }
    return Measured{.answered = true, .figures = parsed(hiss_json(std::get<HissView>(outcome))), .trace = {}};
}

}  // namespace

Result<Measured> measure(const Casebook& book, const Measurement& what) {
    std::vector<std::string> paths;
    for (const auto& [recording, source] : what.sources) {
        auto path = book.audio_path(recording);
        if (!path) return path.error();
        paths.push_back(std::move(path.value()));
    }
    if (paths.empty()) return Error{what.kind + ": no recording is named", ""};
    const ListenRequest listen{paths.front(), channel_of(what), what.engine.engine, 0.1};
    auto outcome = what.kind == "idle"        ? measure_idle(listen)
                   : what.kind == "spray"     ? measure_spray(what, listen)
                   : what.kind == "heard"     ? measure_heard(what, listen)
                   : what.kind == "balance"   ? measure_balance(listen)
                   : what.kind == "injectors" ? measure_injectors(what, paths)
                   : what.kind == "hiss"      ? measure_hiss(what, paths)
                                              : Result<Measured>{Error{what.kind + ": is not measured from audio", ""}};
    if (outcome) make_relative(outcome.value().figures, book.folder().path() + "/");
    return outcome;
}

Result<Measurement> measurement_of(const Casebook& book, const CaseResult& result) {
    Measurement what;
    what.kind = result.kind;
    what.settings = result.settings;
    auto engine = book.engine(result.engine);
    if (!engine) return engine.error();
    what.engine = std::move(engine.value());
    if (result.map) {
        auto map = book.map(*result.map);
        if (!map) return map.error();
        what.map = std::move(map.value());
    }
    for (const auto& source : result.sources) {
        auto recording = book.recording(source.recording);
        if (!recording) return recording.error();
        what.sources.emplace_back(std::move(recording.value()), source);
    }
    return what;
}

Result<std::vector<Measurement>> measurements_of_bay(const Casebook& book, RowId recording, double matters_rpm) {
    const auto row = book.recording(recording);
    if (!row) return row.error();
    const auto marks = book.marks(recording);
    if (!marks) return marks.error();
    Measurement base;
    auto engine = book.engine();
    if (!engine) return engine.error();
    base.engine = std::move(engine.value());
    base.sources = {{row.value(), {recording, "", 0.0}}};
    base.settings = {{"channel", row.value().channel}};
    std::vector<Measurement> list;
    Json used = Json::array();
    for (const auto& m : marks.value())
        if (!m.withdrawn) used.push_back({m.time_s, m.spot});
    auto heard = base;
    heard.kind = "heard";
    if (!used.empty()) {
        heard.settings["marks"] = used;
        auto spray = base;
        spray.kind = "spray";
        auto map = book.map();
        if (!map) return map.error();
        spray.map = std::move(map.value());
        spray.settings["matters_rpm"] = matters_rpm;
        spray.settings["marks"] = std::move(used);
        list.push_back(std::move(spray));
    }
    list.push_back(std::move(heard));
    for (const auto* kind : {"idle", "balance"}) {
        list.push_back(base);
        list.back().kind = kind;
    }
    return list;
}

Result<CaseResult> measure_and_store(Casebook& book, const Measurement& what) {
    auto measured = measure(book, what);
    if (!measured) return measured.error();
    CaseResult result;
    result.visit = what.sources.front().first.visit;
    result.kind = what.kind;
    result.engine = what.engine.id;
    if (what.map) result.map = what.map->id;
    result.settings = what.settings;
    result.answered = measured.value().answered;
    result.figures = std::move(measured.value().figures);
    for (const auto& [recording, source] : what.sources) result.sources.push_back(source);
    const auto id = book.add_result(result, measured.value().trace);
    if (!id) return id.error();
    result.id = id.value();
    return result;
}

}  // namespace idlehark
