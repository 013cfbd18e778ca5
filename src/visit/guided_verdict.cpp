#include "src/visit/guided_verdict.hpp"

#include "dsp/evidence/spray_test.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

SprayVerdict verdict_of(plan::SpotDecision decision) noexcept {
    switch (decision) {
        case plan::SpotDecision::leak:
            return SprayVerdict::leak;
        case plan::SpotDecision::overspray:
            return SprayVerdict::overspray;
        case plan::SpotDecision::none:
            return SprayVerdict::none_seen;
        case plan::SpotDecision::open:
        case plan::SpotDecision::undecided:
            break;
    }
    return SprayVerdict::undecided;
}

VerdictView guided_verdict(const plan::PlanStep& step, const VisitRecord& record, std::span<const RpmReading> readings,
                           const VisitPlanSettings& settings) {
    VerdictView verdict;
    verdict.guided = true;
    verdict.smallest_provable_rpm = step.smallest_provable_rpm;
    verdict.matters_rpm = settings.matters_rpm;
    if (!readings.empty()) verdict.length_s = readings.back().time_s;
    double first_s = std::numeric_limits<double>::infinity();
    for (const auto& b : record.bursts)
        if (!b.undone) first_s = std::min(first_s, b.found_onset_s.value_or(b.time_s));
    const auto quiet = readings.first(static_cast<std::size_t>(
        std::find_if(readings.begin(), readings.end(), [&](const RpmReading& r) { return r.time_s > first_s; }) -
        readings.begin()));
    std::vector<SpraySpot> spots;
    for (const auto& s : settings.map.spots) spots.push_back({.id = s.spot, .place = Place{s.x_mm, s.y_mm}});
    const auto idle =
        evaluate_spray(quiet, {}, spots, {.matters_rpm = settings.matters_rpm, .idle_control = settings.idle_control});
    verdict.idle_rpm = idle.idle_rpm;
    verdict.hunting_rpm = idle.hunting_rpm;
    if (!step.why.empty()) verdict.notes.push_back(step.why);
    verdict.notes.insert(verdict.notes.end(), step.notes.begin(), step.notes.end());
    if (std::any_of(step.all.begin(), step.all.end(), [&](const plan::SpotPlan& p) {
            return p.decision == plan::SpotDecision::none && std::max(-p.low_rpm, p.high_rpm) > settings.matters_rpm;
        }))
        verdict.notes.emplace_back(
            "An interval is what a spot's own bursts tell by themselves: one alone may have missed, and then anything "
            "is "
            "possible. \"None seen\" also reckons with how seldom a burst misses and a joint leaks, and with passes "
            "over "
            "its neighbours.");
    if (step.shams_answer)
        verdict.cautions.emplace_back("the idle answers prompts without spray: nothing here can be trusted");
    if (settings.idle_control == IdleControl::regulated)
        verdict.cautions.emplace_back(
            "the idle is regulated: its valve takes a change back within seconds, so a leak may hide");
    for (std::size_t i = 0; i < settings.map.spots.size() && i < step.all.size(); ++i) {
        const auto& p = step.all[i];
        verdict.spots.push_back({.spot = settings.map.spots[i].spot,
                                 .name = settings.map.spots[i].name,
                                 .bursts = p.bursts,
                                 .change_rpm = p.change_rpm,
                                 .low_rpm = p.low_rpm,
                                 .high_rpm = p.high_rpm,
                                 .p_value = p.p_value,
                                 .verdict = verdict_of(p.decision)});
    }
    for (const auto& b : record.bursts)
        if (b.counts())
            verdict.bursts.push_back({b.found_onset_s.value_or(b.time_s), fmt::format("{}", fmt::join(b.spots, "+"))});
    return verdict;
}

}  // namespace idlehark
