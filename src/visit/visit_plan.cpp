#include "src/visit/visit_plan.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

std::size_t index_of(const BayMap& map, const std::string& spot) {
    const auto* found = map.find(spot);
    if (!found) throw std::invalid_argument(fmt::format("spot {} of the visit is not on the map", spot));
    return static_cast<std::size_t>(found - map.spots.data());
}

}  // namespace

const KindPriors& usual_kind_priors() noexcept {
    static constexpr KindPriors kPriors{
        0.12,  // hose
        0.10,  // gasket
        0.10,  // injector seal
        0.08,  // throttle
        0.08,  // brake servo
        0.06,  // valve
        0.10,  // breather
        0.04,  // sensor
        0.06,  // other
    };
    return kPriors;
}

const char* word(plan::SpotDecision decision) noexcept {
    switch (decision) {
        case plan::SpotDecision::open:
            return "open";
        case plan::SpotDecision::leak:
            return "leak";
        case plan::SpotDecision::overspray:
            return "overspray";
        case plan::SpotDecision::none:
            return "none seen";
        case plan::SpotDecision::undecided:
            return "undecided";
    }
    return "";
}

plan::PlanStep plan_visit(const VisitRecord& record, const VisitConfig& limits, std::span<const RpmReading> readings,
                          const VisitPlanSettings& settings) {
    std::vector<plan::PlannedSpot> spots;
    for (const auto& s : settings.map.spots) {
        plan::PlannedSpot spot;
        spot.id = s.spot;
        spot.place = Place{s.x_mm, s.y_mm};
        spot.prior = settings.kind_priors[static_cast<std::size_t>(s.kind)];
        if (const auto odds = settings.spot_odds.find(s.spot); odds != settings.spot_odds.end()) {
            const double o = spot.prior / (1.0 - spot.prior) * odds->second;
            spot.prior = o / (1.0 + o);
        }
        spot.left_out = std::find(limits.spots.begin(), limits.spots.end(), s.spot) == limits.spots.end() ||
                        left_out(record, s.spot);
        spot.decided = std::find(record.decided.begin(), record.decided.end(), s.spot) != record.decided.end();
        spots.push_back(std::move(spot));
    }
    std::vector<plan::PlannedBurst> bursts;
    double until_s = -std::numeric_limits<double>::infinity();
    for (const auto& b : record.bursts) {
        if (b.undone) continue;
        plan::PlannedBurst burst;
        burst.time_s = b.time_s;
        burst.sham = b.sham;
        burst.found_onset_s = b.found_onset_s;
        burst.found_duration_s = b.found_duration_s;
        for (const auto& spot : b.spots) burst.spots.push_back(index_of(settings.map, spot));
        until_s = std::max(until_s, b.found_onset_s.value_or(b.time_s) + kLookedAt_s);
        bursts.push_back(std::move(burst));
    }
    if (!bursts.empty())
        readings = readings.first(static_cast<std::size_t>(
            std::find_if(readings.begin(), readings.end(), [&](const RpmReading& r) { return r.time_s > until_s; }) -
            readings.begin()));
    plan::PlanConfig config;
    config.matters_rpm = settings.matters_rpm;
    config.idle_control = settings.idle_control;
    config.passes = settings.passes;
    config.over = settings.over;
    config.seed = settings.seed;
    config.most_per_spot = limits.most_per_spot;
    config.most_per_visit = limits.most_per_visit;
    config.drying_s = limits.drying_s;
    return plan::plan_next(readings, bursts, spots, config);
}

VisitPlan visit_plan(const plan::PlanStep& step, const BayMap& map) {
    VisitPlan plan;
    plan.outcome = step.outcome == plan::PlanStep::Outcome::step      ? VisitPlan::Outcome::step
                   : step.outcome == plan::PlanStep::Outcome::decided ? VisitPlan::Outcome::decided
                                                                      : VisitPlan::Outcome::out_of_limits;
    for (const std::size_t s : step.spots) plan.spots.push_back(map.spots.at(s).spot);
    plan.sham = step.sham;
    plan.why = step.why;
    plan.would_change = step.would_change;
    plan.at_most_more = step.at_most_more;
    plan.smallest_provable_rpm = step.smallest_provable_rpm;
    for (std::size_t s = 0; s < step.all.size(); ++s)
        if (plan::settled(step.all[s].decision)) plan.decided.push_back(map.spots.at(s).spot);
    return plan;
}

}  // namespace idlehark
