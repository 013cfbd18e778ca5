#include "src/visit/visit_marks.hpp"

#include "src/analysis/match_hiss.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

std::vector<std::string> marked_spots(const std::string& mark) {
    std::vector<std::string> spots;
    if (mark == kShamMark) return spots;
    for (std::size_t from = 0;;) {
        const auto plus = mark.find('+', from);
        spots.push_back(mark.substr(from, plus - from));
        if (plus == std::string::npos) return spots;
        from = plus + 1;
    }
}

MarksFile marks_of_visit(const VisitRecord& record) {
    MarksFile file;
    for (const auto& b : record.bursts)
        if (!b.undone)
            file.marks.push_back({.time_s = b.time_s,
                                  .spot = b.sham ? kShamMark : fmt::format("{}", fmt::join(b.spots, "+")),
                                  .extra = {},
                                  .line = 0});
    std::stable_sort(file.marks.begin(), file.marks.end(),
                     [](const Mark& a, const Mark& b) { return a.time_s < b.time_s; });
    return file;
}

Result<VisitRecord> visit_from_marks(std::span<const Mark> marks, std::span<const HissBurst> heard, const BayMap& map,
                                     const std::string& marks_file) {
    VisitRecord record;
    std::vector<double> times_s;
    for (const auto& m : marks) {
        VisitBurst burst;
        burst.time_s = m.time_s;
        burst.sham = m.spot == kShamMark;
        burst.spots = burst.sham ? std::vector{map.spots.front().spot} : marked_spots(m.spot);
        for (const auto& spot : burst.spots)
            if (!map.find(spot))
                return Error{fmt::format("{}: line {}: spot \"{}\" is not on the map", marks_file, m.line, spot),
                             "Correct the mark, or add the spot to the map file."};
        if (!burst.sham) times_s.push_back(m.time_s);
        record.bursts.push_back(std::move(burst));
    }
    const auto matched = match_hiss(times_s, heard);
    std::size_t next = 0;
    for (auto& b : record.bursts) {
        if (b.sham) continue;
        if (const auto& hiss = matched[next++]) {
            b.found_onset_s = hiss->time_s;
            b.found_duration_s = hiss->duration_s;
        }
    }
    return record;
}

plan::PlanStep replay_plan(VisitRecord& record, const VisitConfig& limits, std::span<const RpmReading> readings,
                           const VisitPlanSettings& settings) {
    record.decided.clear();
    auto so_far = record;
    so_far.bursts.clear();
    so_far.skipped.clear();
    plan::PlanStep step;
    const auto plan_now = [&] {
        step = plan_visit(so_far, limits, readings, settings);
        if (!so_far.bursts.empty()) so_far.decided = visit_plan(step, settings.map).decided;
    };
    const auto known = [&](const std::string& spot) { return left_out(so_far, spot); };
    auto skip = record.skipped.begin();
    // True if there was one that mattered: a spot left out is not asked for, and so not skipped, again.
    const auto take_skip = [&] {
        const bool new_to_it = !std::all_of(skip->spots.begin(), skip->spots.end(), known);
        so_far.skipped.push_back(*skip++);
        return new_to_it;
    };
    const auto skipped_now = [&] { return skip != record.skipped.end() && skip->after_bursts <= so_far.bursts.size(); };
    while (skipped_now()) take_skip();
    plan_now();
    for (std::size_t i = 0; i < record.bursts.size(); ++i) {
        const auto& burst = record.bursts[i];
        so_far.bursts.push_back(burst);
        // One that falls into the answer of the burst before is planned for together with it.
        const bool answered =
            i + 1 == record.bursts.size() || record.bursts[i + 1].time_s >= burst.time_s + limits.answer_s;
        if (!burst.undone && answered) plan_now();
        while (skipped_now())
            if (take_skip()) plan_now();
    }
    record.decided = so_far.decided;
    return step;
}

}  // namespace idlehark
