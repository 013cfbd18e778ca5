#pragma once

#include "dsp/plan/planner.hpp"
#include "src/files/map_file.hpp"
#include "src/visit/spray_visit.hpp"

#include <array>
#include <map>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// How often a joint of this kind leaks, before anything is known of it: what the planner starts from. Old rubber
/// first. Common practice, no source; meant to be changed by the user.
using KindPriors = std::array<double, kSpotKindWords.size()>;
[[nodiscard]] const KindPriors& usual_kind_priors() noexcept;
inline constexpr double kLeastPrior = 0.001, kMostPrior = 0.9;  ///< what the user, or a case, may state
inline constexpr double kMostOdds = 1000.0;                     ///< of a spot; more would leave no room for doubt

/// What the planner goes by besides the visit itself.
struct VisitPlanSettings {
    BayMap map;
    KindPriors kind_priors = usual_kind_priors();
    std::map<std::string, double> spot_odds;  ///< by spot: times its odds; a hiss that stands out: kStandsOutOdds
    IdleControl idle_control = IdleControl::fixed;
    double matters_rpm = 15.0;
    bool passes = true;
    bool over = false;  ///< the test has ended: what it sprayed is judged
    std::uint64_t seed = 1;
};
inline constexpr double kStandsOutOdds = 5.0;   ///< a spot that stood out in a hiss survey
inline constexpr double kLoudSteadyOdds = 2.0;  ///< loud without following the firing

/// Readings later than this after the last burst are not looked at, so that a step does not depend on when it is asked
/// for: live and replay give the same.
inline constexpr double kLookedAt_s = 7.5;

/// The next step from what the visit has recorded. `readings` in the visit's time. Pure; may take a second.
/// Throws std::invalid_argument as plan_next does, and for a map without one of the visit's spots.
[[nodiscard]] plan::PlanStep plan_visit(const VisitRecord& record, const VisitConfig& limits,
                                        std::span<const RpmReading> readings, const VisitPlanSettings& settings);

/// The same in the visit's words, for `SprayVisit::take`.
[[nodiscard]] VisitPlan visit_plan(const plan::PlanStep& step, const BayMap& map);

[[nodiscard]] const char* word(plan::SpotDecision decision) noexcept;

}  // namespace idlehark
