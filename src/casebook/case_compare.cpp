#include "src/casebook/case_compare.hpp"

#include "src/casebook/case_result.hpp"
#include "src/casebook/figures.hpp"
#include "src/casebook/heard_record.hpp"
#include "src/casebook/visit_parts.hpp"
#include "src/files/csv.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include <fmt/format.h>

namespace idlehark {

namespace {

using figures::number;
using figures::whole;

/// What of a visit is compared: its guided test if most bursts are in it, else the recording with the most; no parts:
/// nothing.
struct MainSound {
    std::vector<VisitPart> parts;
    std::vector<Mark> marks;
};

Result<MainSound> main_sound(const Casebook& book, RowId visit) {
    const auto all = book.recordings(visit);
    if (!all) return all.error();
    auto guided = book.guided(visit);
    if (!guided) return guided.error();
    auto tested = guided_parts(book, visit);
    if (!tested) return tested.error();
    std::erase_if(tested.value(), [](const VisitPart& p) { return p.recording.running; });
    std::vector<std::vector<VisitPart>> candidates{std::move(tested.value())};
    for (const auto& r : all.value())
        if (r.kind == RecordingKind::bay && !r.running) candidates.push_back({{r, 0.0}});
    MainSound best;
    std::tuple<std::size_t, double> most{0, 0.0};
    for (std::size_t c = 0; c < candidates.size(); ++c) {
        auto& parts = candidates[c];
        if (parts.empty()) continue;
        auto marks = marks_of_parts(book, parts, c == 0 ? &*guided.value() : nullptr);
        if (!marks) return marks.error();
        double length_s = 0.0;
        for (const auto& p : parts) length_s += p.recording.length_s();
        const std::tuple rank{marks.value().size(), length_s};
        if (!best.parts.empty() && rank <= most) continue;
        best = {std::move(parts), std::move(marks.value())};
        most = rank;
    }
    return best;
}

/// The set as the case kept it; nothing if it is of a program that kept less.
std::optional<InjectorView> kept_injectors(const CaseResult& result) {
    const auto list = result.figures.find("injectors");
    if (list == result.figures.end() || !list->is_array()) return {};
    InjectorView view;
    for (const auto& row : *list) {
        if (!row.is_object() || !row.contains("clicks_due") || !row.contains("cylinder")) return {};
        InjectorReading r;
        r.cylinder = whole(row, "cylinder");
        r.due = whole(row, "clicks_due");
        r.missed = whole(row, "clicks_missed");
        r.missed_percent = number(row, "missed_percent");
        r.missed_low_percent = number(row, "missed_low_percent");
        r.missed_high_percent = number(row, "missed_high_percent");
        r.jitter_us = number(row, "jitter_us");
        r.open_close_ms = number(row, "open_close_ms");
        r.level_db = number(row, "level_db");
        r.verdict = figures::said(figures::text(row, "verdict"),
                                  {InjectorVerdict::regular, InjectorVerdict::missing_clicks, InjectorVerdict::differs},
                                  r.verdict);
        view.injectors.push_back({.reading = r, .recording = {}, .probe = {}});
    }
    return view;
}

struct KnownVisit {
    VisitRequest request;
    std::optional<HeardVisit> heard;  ///< if the case kept what was heard, by the same engine and the same marks
};

Result<KnownVisit> known_visit(const Casebook& book, RowId id) {
    auto found = main_sound(book, id);
    if (!found) return found.error();
    const auto& parts = found.value().parts;
    if (parts.empty())
        return Error{fmt::format("visit {} has no recording of the idling engine", id),
                     "`idlehark case show` lists what each visit has; add one with `idlehark case add`."};
    const auto results = book.latest_results(id);
    if (!results) return results.error();
    std::optional<RowId> engine_id;
    for (const auto& result : results.value()) engine_id = result.engine;
    const auto engine = book.engine(engine_id);
    if (!engine) return engine.error();
    auto listen = listen_request(book, parts, engine.value().engine);
    if (!listen) return listen.error();
    KnownVisit known;
    auto& visit = known.request;
    visit.listen = std::move(listen.value());
    visit.device = parts.front().recording.device;
    visit.marks = std::move(found.value().marks);
    Json marked = Json::array();
    for (const auto& m : visit.marks) marked.push_back({m.time_s, m.spot});
    const auto of_these = [&](const CaseResult& result) {
        return std::equal(result.sources.begin(), result.sources.end(), parts.begin(), parts.end(),
                          [](const ResultSource& s, const VisitPart& p) { return s.recording == p.recording.id; });
    };
    const CaseResult* kept = nullptr;
    std::optional<InjectorView> injectors;
    for (const auto& result : results.value()) {
        if (result.kind == "heard" && result.answered && result.engine == engine.value().id && of_these(result) &&
            figures::channel(result.settings) == visit.listen.channel &&
            result.settings.value("marks", Json::array()) == marked)
            kept = &result;
        if (result.kind != "injectors") continue;
        if (result.answered) injectors = kept_injectors(result);
        for (const auto& source : result.sources) {
            const auto probe = book.recording(source.recording);
            if (!probe) return probe.error();
            auto probe_path = book.audio_path(probe.value());
            const auto cylinder = parse_number(source.label);
            if (!probe_path) return probe_path.error();
            if (cylinder && *cylinder >= 1.0 && *cylinder <= 12.0)
                visit.injectors.emplace_back(static_cast<int>(*cylinder), std::move(probe_path.value()));
        }
    }
    if (!kept || (!visit.injectors.empty() && !injectors)) return known;
    auto readings = book.trace(kept->id);
    if (!readings) return readings.error();
    auto heard = heard_from_json(kept->figures, visit, std::move(readings.value()),
                                 fmt::format("visit {}, result {} (heard)", id, kept->id));
    if (!heard) return heard.error();
    known.heard = std::move(heard.value());
    known.heard->injectors = std::move(injectors);
    // Measured anew from the speed that was kept: another version may have measured otherwise, and two visits must be
    // measured alike.
    std::vector<double> bursts_s;
    for (const auto& b : known.heard->bursts) bursts_s.push_back(b.time_s);
    known.heard->idle = measure_idle(known.heard->readings, bursts_s);
    return known;
}

}  // namespace

Result<std::optional<std::pair<RowId, RowId>>> visits_to_compare(const Casebook& book) {
    const auto visits = book.visits();
    if (!visits) return visits.error();
    const auto first_with_idle = [&](auto from, auto to) -> Result<RowId> {
        for (; from != to; ++from) {
            const auto sound = main_sound(book, from->id);
            if (!sound) return sound.error();
            if (!sound.value().parts.empty()) return from->id;
        }
        return RowId{0};
    };
    const auto first = first_with_idle(visits.value().begin(), visits.value().end());
    if (!first) return first.error();
    const auto last = first_with_idle(visits.value().rbegin(), visits.value().rend());
    if (!last) return last.error();
    if (first.value() == last.value()) return std::optional<std::pair<RowId, RowId>>{};
    return std::optional{std::pair{first.value(), last.value()}};
}

bool cold_against_warm(const Visit& before, const Visit& after) noexcept {
    return (before.warmth == Warmth::cold && after.warmth == Warmth::warm) ||
           (before.warmth == Warmth::warm && after.warmth == Warmth::cold);
}

Result<Done> check_two_visits(const Casebook& book, RowId before, RowId after) {
    for (const auto id : {before, after})
        if (const auto there = book.visit(id); !there) return there.error();
    if (before == after)
        return Error{fmt::format("visit {} compared with itself tells nothing", before),
                     "Name two visits, as in 1,2; `idlehark case show` lists them."};
    return Done{};
}

Result<CompareRequest> compare_request(const Casebook& book, RowId before, RowId after, bool anyway) {
    const auto first = book.visit(before);
    if (!first) return first.error();
    const auto second = book.visit(after);
    if (!second) return second.error();
    const auto& b = first.value();
    const auto& a = second.value();
    if (cold_against_warm(b, a) && !anyway)
        return Error{fmt::format("visit {} was made with a {} engine, visit {} with a {} one", before, word(b.warmth),
                                 after, word(a.warmth)),
                     "Compare warm with warm. --anyway compares all the same."};
    auto known_before = known_visit(book, before);
    if (!known_before) return known_before.error();
    auto known_after = known_visit(book, after);
    if (!known_after) return known_after.error();
    const auto map = book.map();
    if (!map) return map.error();
    const auto named = [](KnownVisit& known, const Visit& v) {
        known.request.name = fmt::format("visit {}, {}{}{}", v.id, v.date, v.title.empty() ? "" : ": ", v.title);
        known.request.gain = v.gain;
        if (!v.device.empty()) known.request.device = v.device;
        if (!known.heard) return;
        known.heard->request = known.request;
        known.heard->device = known.request.device;
    };
    named(known_before.value(), b);
    named(known_after.value(), a);
    CompareRequest request;
    request.before = std::move(known_before.value().request);
    request.after = std::move(known_after.value().request);
    request.heard_before = std::move(known_before.value().heard);
    request.heard_after = std::move(known_after.value().heard);
    if (map.value()) request.map = map.value()->map;
    request.anyway = anyway;
    return request;
}

Result<Done> add_compare(const Casebook& book, std::optional<std::pair<RowId, RowId>> visits, const ListenSinks& sinks,
                         CaseReport& report) {
    if (!visits) {
        const auto found = visits_to_compare(book);
        if (!found) return found.error();
        if (!found.value()) return Done{};
        visits = found.value();
    }
    const auto request = compare_request(book, visits->first, visits->second, false);
    if (!request) {
        report.why_no_compare = request.error().what;
        return Done{};
    }
    auto outcome = compare_visits(request.value(), sinks);
    if (auto* view = std::get_if<CompareView>(&outcome))
        report.compare = std::move(*view);
    else
        report.why_no_compare = std::get<VisitFailure>(outcome).error.what;
    return Done{};
}

}  // namespace idlehark
