#include "src/casebook/case_compare.hpp"

#include "src/files/csv.hpp"

#include <algorithm>
#include <tuple>

#include <fmt/format.h>

namespace idlehark {

namespace {

Result<std::optional<CaseRecording>> main_recording(const Casebook& book, RowId visit) {
    const auto all = book.recordings(visit);
    if (!all) return all.error();
    std::optional<CaseRecording> best;
    std::tuple<std::size_t, double> most{0, 0.0};
    for (const auto& r : all.value()) {
        if (r.kind != RecordingKind::bay || r.running) continue;
        const auto marks = book.marks(r.id);
        if (!marks) return marks.error();
        const auto kept =
            std::count_if(marks.value().begin(), marks.value().end(), [](const CaseMark& m) { return !m.withdrawn; });
        const std::tuple rank{static_cast<std::size_t>(kept), r.length_s()};
        if (best && rank <= most) continue;
        best = r;
        most = rank;
    }
    return best;
}

Result<VisitRequest> visit_request(const Casebook& book, RowId id) {
    const auto recording = main_recording(book, id);
    if (!recording) return recording.error();
    if (!recording.value())
        return Error{fmt::format("visit {} has no recording of the idling engine", id),
                     "`idlehark case show` lists what each visit has; add one with `idlehark case add`."};
    const auto& r = *recording.value();
    const auto results = book.latest_results(id);
    if (!results) return results.error();
    std::optional<RowId> engine_id;
    for (const auto& result : results.value()) engine_id = result.engine;
    const auto engine = book.engine(engine_id);
    if (!engine) return engine.error();
    auto path = book.audio_path(r);
    if (!path) return path.error();
    VisitRequest visit;
    visit.listen = {.path = path.value(), .channel = r.channel, .engine = engine.value().engine, .hop_s = 0.1};
    visit.device = r.device;
    const auto marks = book.marks(r.id);
    if (!marks) return marks.error();
    for (const auto& m : marks.value())
        if (!m.withdrawn) visit.marks.push_back({.time_s = m.time_s, .spot = m.spot, .extra = {}, .line = 0});
    for (const auto& result : results.value()) {
        if (result.kind != "injectors") continue;
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
    return visit;
}

}  // namespace

Result<std::optional<std::pair<RowId, RowId>>> visits_to_compare(const Casebook& book) {
    const auto visits = book.visits();
    if (!visits) return visits.error();
    std::vector<RowId> with_idle;
    for (const auto& v : visits.value()) {
        const auto recording = main_recording(book, v.id);
        if (!recording) return recording.error();
        if (recording.value()) with_idle.push_back(v.id);
    }
    if (with_idle.size() < 2) return std::optional<std::pair<RowId, RowId>>{};
    return std::optional{std::pair{with_idle.front(), with_idle.back()}};
}

Result<CompareRequest> compare_request(const Casebook& book, RowId before, RowId after, bool anyway) {
    const auto first = book.visit(before);
    if (!first) return first.error();
    const auto second = book.visit(after);
    if (!second) return second.error();
    const auto& b = first.value();
    const auto& a = second.value();
    const bool cold_against_warm = (b.warmth == Warmth::cold && a.warmth == Warmth::warm) ||
                                   (b.warmth == Warmth::warm && a.warmth == Warmth::cold);
    if (cold_against_warm && !anyway)
        return Error{fmt::format("visit {} was made with a {} engine, visit {} with a {} one", before, word(b.warmth),
                                 after, word(a.warmth)),
                     "Compare warm with warm. --anyway compares all the same."};
    auto request_before = visit_request(book, before);
    if (!request_before) return request_before.error();
    auto request_after = visit_request(book, after);
    if (!request_after) return request_after.error();
    const auto map = book.map();
    if (!map) return map.error();
    CompareRequest request{std::move(request_before.value()), std::move(request_after.value()), {}, anyway};
    if (map.value()) request.map = map.value()->map;
    const auto label = [](const Visit& v) {
        return fmt::format("visit {}, {}{}{}", v.id, v.date, v.title.empty() ? "" : ": ", v.title);
    };
    request.before.name = label(b);
    request.after.name = label(a);
    request.before.gain = b.gain;
    request.after.gain = a.gain;
    if (!b.device.empty()) request.before.device = b.device;
    if (!a.device.empty()) request.after.device = a.device;
    return request;
}

}  // namespace idlehark
