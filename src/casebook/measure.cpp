#include "src/casebook/measure.hpp"

#include "dsp/statistics.hpp"
#include "src/analysis/balance_check.hpp"
#include "src/analysis/hiss_check.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/analysis/spray_session.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/figures.hpp"
#include "src/casebook/heard_record.hpp"
#include "src/casebook/visit_parts.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/files/csv.hpp"
#include "src/report/verdict_text.hpp"
#include "src/visit/guided_verdict.hpp"
#include "src/visit/visit_marks.hpp"

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

double number_in(const Json& settings, const char* key, double otherwise) {
    const auto at = settings.find(key);
    return at != settings.end() && at->is_number() ? at->get<double>() : otherwise;
}

/// For a pass over one recording.
std::function<void(std::uint64_t, std::uint64_t)> frames_to(const MeasureProgress& progress) {
    if (!progress) return {};
    return [progress](std::uint64_t done, std::uint64_t total) {
        progress(static_cast<double>(done) / static_cast<double>(std::max<std::uint64_t>(total, 1)));
    };
}

/// For a set of recordings.
std::function<void(std::size_t)> count_to(const MeasureProgress& progress, std::size_t recordings) {
    if (!progress) return {};
    return [progress, recordings](std::size_t done) {
        progress(static_cast<double>(done) / static_cast<double>(recordings));
    };
}

Result<Measured> measure_idle(const ListenRequest& listen, const MeasureProgress& progress) {
    Measured m;
    const auto heard = listen_through(
        listen, {.readings = [&](std::span<const RpmReading> r) { m.trace.insert(m.trace.end(), r.begin(), r.end()); },
                 .start = {},
                 .sound = {},
                 .progress = frames_to(progress)});
    if (!heard) return heard.error();
    if (const auto why = why_no_lock(heard.value(), listen)) return no_answer(*why);
    std::vector<double> speeds;
    for (const auto& r : m.trace)
        if (r.locked) speeds.push_back(r.rpm);
    m.figures = {{"rpm", rounded(stats::median(speeds))},
                 {"spread_rpm", rounded(stats::quantile(speeds, 0.95) - stats::quantile(speeds, 0.05))},
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

/// The figures of a spray test as they are kept.
Measured kept(const VerdictView& view) {
    Measured m{.answered = true, .figures = parsed(verdict_json(view)), .trace = {}};
    m.figures["length_s"] = rounded(view.length_s);
    m.figures["bursts"] = Json::array();
    for (const auto& b : view.bursts) m.figures["bursts"].push_back({{"time_s", rounded(b.time_s)}, {"spot", b.spot}});
    return m;
}

Result<Measured> measure_spray(const Measurement& what, const ListenRequest& listen, const MeasureProgress& progress) {
    auto marks = marks_in(what.settings);
    if (!marks) return marks.error();
    SprayRequest request;
    request.listen = listen;
    if (what.map) request.map = what.map->map;
    request.marks = std::move(marks.value());
    request.marks_file = "marks";
    request.matters_rpm = number_in(what.settings, "matters_rpm", request.matters_rpm);
    ListenSinks sinks;
    sinks.progress = frames_to(progress);
    const auto outcome = judge_spray(request, sinks);
    if (const auto* failure = std::get_if<SprayFailure>(&outcome)) return no_answer(failure->error);
    return kept(std::get<SprayAnswer>(outcome).view);
}

Result<Measured> measure_heard(const Measurement& what, const ListenRequest& listen, const MeasureProgress& progress) {
    VisitRequest request;
    request.listen = listen;
    if (const auto offsets = what.settings.find("later_s"); offsets != what.settings.end() && offsets->is_array())
        for (std::size_t k = 0; k < std::min(offsets->size(), request.listen.later.size()); ++k)
            if ((*offsets)[k].is_number()) request.listen.later[k].offset_s = (*offsets)[k].get<double>();
    if (what.settings.contains("marks")) {
        auto marks = marks_in(what.settings);
        if (!marks) return marks.error();
        request.marks = std::move(marks.value());
    }
    ListenSinks sinks;
    sinks.progress = frames_to(progress);
    auto outcome = hear_visit(request, sinks);
    if (const auto* failure = std::get_if<VisitFailure>(&outcome)) return no_answer(failure->error);
    auto& visit = std::get<HeardVisit>(outcome);
    return Measured{.answered = true, .figures = heard_json(visit), .trace = std::move(visit.readings)};
}

constexpr double kBreak_s = 1.0;

double within(double x, double least, double most, std::string_view what) {
    if (x >= least && x <= most) return x;
    throw std::invalid_argument(fmt::format("{}: {:g} is not in {:g}..{:g}", what, x, least, most));
}

RpmReading nothing_at(double time_s) {
    constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
    return {.time_s = time_s, .rpm = kNone, .rpm_low = kNone, .rpm_high = kNone, .locked = false};
}

/// Throws std::invalid_argument for a chance or odds that no program states: the case may be a stranger's.
VisitPlanSettings plan_settings(const Measurement& what) {
    VisitPlanSettings plan;
    plan.map = what.map->map;
    plan.idle_control = what.engine.engine.idle_control;
    plan.matters_rpm = number_in(what.settings, "matters_rpm", plan.matters_rpm);
    if (const auto at = what.settings.find("passes"); at != what.settings.end() && at->is_boolean())
        plan.passes = at->get<bool>();
    if (const auto odds = what.settings.find("spot_odds"); odds != what.settings.end() && odds->is_object())
        for (const auto& [spot, times] : odds->items())
            if (times.is_number())
                plan.spot_odds[spot] = within(times.get<double>(), 1.0 / kMostOdds, kMostOdds, "odds");
    if (const auto priors = what.settings.find("kind_priors"); priors != what.settings.end() && priors->is_array())
        for (std::size_t k = 0; k < std::min(priors->size(), plan.kind_priors.size()); ++k)
            if ((*priors)[k].is_number())
                plan.kind_priors[k] = within((*priors)[k].get<double>(), kLeastPrior, kMostPrior, "chance");
    return plan;
}

/// The test's own standing: its plan worked out again burst by burst, from the sound alone, as it was while the test
/// ran. Times count from the first source's beginning.
Result<Measured> measure_guided(const Measurement& what, ListenRequest listen, const MeasureProgress& progress) {
    const auto stored = what.settings.find("record");
    if (stored == what.settings.end() || !what.map) return Error{"the settings hold no guided test", ""};
    auto read = visit_record_from_json(*stored, "record");
    if (!read) return read.error();
    auto& record = read.value();
    VisitPlanSettings plan;
    try {
        plan = plan_settings(what);
    } catch (const std::invalid_argument& wrong) {
        return Error{std::string{"the settings of the guided test: "} + wrong.what(), ""};
    }
    std::vector<VisitPart> parts;
    for (const auto& [recording, source] : what.sources) {
        parts.push_back({recording, 0.0});
        for (const auto& noted : record.recordings)
            if (noted.name == recording.file) parts.back().offset_s = noted.offset_s;
    }
    const double first_s = parts.front().offset_s;
    for (std::size_t k = 0; k < listen.later.size(); ++k) listen.later[k].offset_s = parts[k + 1].offset_s - first_s;
    std::vector<RpmReading> readings, trace;
    ListenSinks sinks;
    sinks.readings = [&](std::span<const RpmReading> r) {
        // The speed as it is drawn: broken where a part ends.
        if (!trace.empty() && !r.empty() && r.front().time_s > trace.back().time_s + kBreak_s)
            trace.push_back(nothing_at(trace.back().time_s + kBreak_s));
        for (auto reading : r) {
            trace.push_back(reading);
            reading.time_s += first_s;
            readings.push_back(reading);
        }
    };
    sinks.progress = frames_to(progress);
    const auto heard = listen_through(listen, sinks);
    if (!heard) return heard.error();
    if (const auto why = why_no_lock(heard.value(), listen)) return no_answer(*why);
    VisitConfig limits;
    for (const auto& s : plan.map.spots) limits.spots.push_back(s.spot);
    try {
        auto step = replay_plan(record, limits, readings, plan);
        if (step.outcome == plan::PlanStep::Outcome::step && !record.bursts.empty()) {  // ended before the plan did
            plan.over = true;
            step = plan_visit(record, limits, readings, plan);
        }
        auto view = guided_verdict(step, record, readings, plan);
        view.length_s = heard.value().length_s;
        for (auto& b : view.bursts) b.time_s -= first_s;
        view.cautions.insert(view.cautions.end(), heard.value().warnings.begin(), heard.value().warnings.end());
        const auto missing = missing_parts(record, parts);
        view.cautions.insert(view.cautions.end(), missing.begin(), missing.end());
        auto m = kept(view);
        if (!listen.later.empty()) m.trace = std::move(trace);
        return m;
    } catch (const std::invalid_argument& wrong) {
        return Error{std::string{"the guided test cannot be judged again: "} + wrong.what(), ""};
    }
}

Result<Measured> measure_balance(const Measurement& what, const ListenRequest& listen,
                                 const MeasureProgress& progress) {
    BalanceRequest request;
    request.listen = listen;
    const auto whole = [&](const char* key) -> std::optional<int> {
        const auto it = what.settings.find(key);
        if (it == what.settings.end() || !it->is_number_integer()) return {};
        return static_cast<int>(std::clamp<std::int64_t>(it->get<std::int64_t>(), 0, 1000));
    };
    request.reference_channel = whole("reference_channel");
    if (const auto cylinder = whole("reference_cylinder")) request.reference_cylinder = *cylinder;
    ListenSinks sinks;
    sinks.progress = frames_to(progress);
    const auto outcome = check_balance(request, sinks);
    if (const auto* failure = std::get_if<BalanceFailure>(&outcome)) return no_answer(failure->error);
    return Measured{.answered = true, .figures = parsed(balance_json(std::get<BalanceView>(outcome))), .trace = {}};
}

Result<Measured> measure_injectors(const Measurement& what, const std::vector<std::string>& paths,
                                   const MeasureProgress& progress) {
    InjectorRequest request;
    request.engine = what.engine.engine;
    request.channel = figures::channel(what.settings);
    for (std::size_t i = 0; i < paths.size(); ++i) {
        const auto cylinder = parse_number(what.sources[i].second.label);
        if (!cylinder || std::fabs(*cylinder) > 1000.0)
            return Error{fmt::format("\"{}\" is no cylinder", what.sources[i].second.label), ""};
        request.recordings.emplace_back(static_cast<int>(*cylinder), paths[i]);
    }
    const auto outcome = judge_injectors(request, count_to(progress, paths.size()));
    if (const auto* failure = std::get_if<InjectorFailure>(&outcome)) {
        if (!failure->sound_is_why) return failure->error;
        return no_answer(failure->error);
    }
    return Measured{.answered = true, .figures = parsed(injector_json(std::get<InjectorView>(outcome))), .trace = {}};
}

Result<Measured> measure_hiss(const Measurement& what, const std::vector<std::string>& paths,
                              const MeasureProgress& progress) {
    HissRequest request;
    request.engine = what.engine.engine;
    request.channel = figures::channel(what.settings);
    const auto gain = what.settings.find("gain");
    request.declared = gain != what.settings.end() && *gain == "declared";
    for (std::size_t i = 0; i < paths.size(); ++i)
        request.recordings.push_back({what.sources[i].second.label, paths[i], what.sources[i].second.gain_db});
    const auto outcome = check_hiss(request, count_to(progress, paths.size()));
    if (const auto* failure = std::get_if<HissFailure>(&outcome)) {
        if (!failure->sound_is_why) return failure->error;
        return no_answer(failure->error);
    }
    return Measured{.answered = true, .figures = parsed(hiss_json(std::get<HissView>(outcome))), .trace = {}};
}

}  // namespace

Result<Measured> measure(const Casebook& book, const Measurement& what, const MeasureProgress& progress) {
    std::vector<std::string> paths;
    for (const auto& [recording, source] : what.sources) {
        auto path = book.audio_path(recording);
        if (!path) return path.error();
        paths.push_back(std::move(path.value()));
    }
    if (paths.empty()) return Error{what.kind + ": no recording is named", ""};
    ListenRequest listen{paths.front(), figures::channel(what.settings), what.engine.engine, 0.1};
    if (what.kind == "guided" || what.kind == "heard")
        for (std::size_t i = 1; i < paths.size(); ++i)
            listen.later.push_back({paths[i], what.sources[i].first.channel, 0.0});
    auto outcome = what.kind == "idle"        ? measure_idle(listen, progress)
                   : what.kind == "spray"     ? measure_spray(what, listen, progress)
                   : what.kind == "guided"    ? measure_guided(what, listen, progress)
                   : what.kind == "heard"     ? measure_heard(what, listen, progress)
                   : what.kind == "balance"   ? measure_balance(what, listen, progress)
                   : what.kind == "injectors" ? measure_injectors(what, paths, progress)
                   : what.kind == "hiss"      ? measure_hiss(what, paths, progress)
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

Result<std::vector<Measurement>> measurements_of_bay(const Casebook& book, RowId recording, double matters_rpm,
                                                     const VisitPlanSettings* plan) {
    const auto row = book.recording(recording);
    if (!row) return row.error();
    Measurement base;
    auto engine = book.engine();
    if (!engine) return engine.error();
    base.engine = std::move(engine.value());
    base.sources = {{row.value(), {recording, "", 0.0}}};
    base.settings = {{"channel", row.value().channel}};
    auto map = book.map();
    if (!map) return map.error();
    const auto guided = book.guided(row.value().visit);
    if (!guided) return guided.error();
    // A guided test and what was heard of it are measured with the last of its recordings, over all of them.
    std::vector<VisitPart> parts;
    if (guided.value() && map.value() && sprayed_bursts(*guided.value()) > 0) {
        auto found = guided_parts(book, row.value().visit);
        if (!found) return found.error();
        parts = std::move(found.value());
    }
    const bool in_test =
        std::any_of(parts.begin(), parts.end(), [&](const VisitPart& p) { return p.recording.id == recording; });
    if (!in_test) parts = {{row.value(), 0.0}};
    std::vector<Measurement> list;
    if (parts.back().recording.id == recording) {
        auto of_all = base;
        of_all.settings["channel"] = parts.front().recording.channel;
        of_all.sources.clear();
        for (const auto& p : parts) of_all.sources.push_back({p.recording, {p.recording.id, "", 0.0}});
        const auto marks = marks_of_parts(book, parts, in_test ? &*guided.value() : nullptr);
        if (!marks) return marks.error();
        Json used = Json::array();
        for (const auto& m : marks.value()) used.push_back({m.time_s, m.spot});
        if (in_test || !used.empty()) {
            auto spray = of_all;
            spray.map = std::move(map.value());
            spray.settings["matters_rpm"] = matters_rpm;
            spray.kind = in_test ? "guided" : "spray";
            if (in_test) {
                spray.settings["record"] = visit_record_json(*guided.value());
                spray.settings["passes"] = plan ? plan->passes : VisitPlanSettings{}.passes;
                if (plan) {
                    spray.settings["spot_odds"] = plan->spot_odds;
                    spray.settings["kind_priors"] = plan->kind_priors;
                    spray.settings["matters_rpm"] = plan->matters_rpm;
                }
            } else {
                spray.settings["marks"] = used;
            }
            list.push_back(std::move(spray));
        }
        auto heard = std::move(of_all);
        heard.kind = "heard";
        if (!used.empty()) heard.settings["marks"] = std::move(used);
        for (std::size_t k = 1; k < parts.size(); ++k)
            heard.settings["later_s"].push_back(parts[k].offset_s - parts.front().offset_s);
        list.push_back(std::move(heard));
    }
    for (const auto* kind : {"idle", "balance"}) {
        list.push_back(base);
        list.back().kind = kind;
    }
    return list;
}

Result<CaseResult> measure_and_store(Casebook& book, const Measurement& what, const MeasureProgress& progress) {
    auto measured = measure(book, what, progress);
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

Result<Done> measure_and_store_all(Casebook& book, const std::vector<Measurement>& list,
                                   const MeasureProgress& progress) {
    const auto n = static_cast<double>(list.size());
    double done = 0.0;
    for (const auto& what : list) {
        MeasureProgress share_of_all;
        if (progress) share_of_all = [&](double share) { progress((done + share) / n); };
        if (const auto stored = measure_and_store(book, what, share_of_all); !stored) return stored.error();
        done += 1.0;
    }
    return Done{};
}

}  // namespace idlehark
