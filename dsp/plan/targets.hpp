#pragma once

#include "dsp/plan/planner.hpp"

#include <map>

namespace idlehark::plan {

using Target = std::vector<std::size_t>;  ///< spots of one burst, ascending

[[nodiscard]] double distance_mm(const PlannedSpot& a, const PlannedSpot& b);

/// Every set of 2 to `most_in_pass` spots of `from`, no two of which are farther apart than `pass_reach_mm`; of the
/// larger sets only the closest few round each spot.
[[nodiscard]] std::vector<Target> possible_passes(std::span<const PlannedSpot> spots, const std::vector<bool>& from,
                                                  const PlanConfig& config);

/// Splits the spots of `from` into as few targets as goes by taking the loneliest first, then shuffles them.
[[nodiscard]] std::vector<Target> cover(std::span<const PlannedSpot> spots, const std::vector<bool>& from,
                                        const PlanConfig& config);

/// What a target sees: its spots' shares of a full burst, and its neighbours' nearness.
[[nodiscard]] Look look_at(std::span<const PlannedSpot> spots, const Target& target, std::vector<double> log_curve);

/// All bursts by target; shams have the key of no spots. A pass is timed by its middle, as no spot has its beginning.
[[nodiscard]] std::map<Target, std::vector<SprayBurst>> by_target(std::span<const PlannedBurst> bursts);

}  // namespace idlehark::plan
