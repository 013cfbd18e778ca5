#pragma once

#include "dsp/evidence/speed_trace.hpp"
#include "dsp/evidence/spot_odds.hpp"

#include <span>
#include <vector>

namespace idlehark::plan {

/// Odds of each target being wet against dry, from the whole trace: the sums of `evaluate_spray` without its sham
/// placements, so fit to choose by and not to prove anything. How the idle answers is the same for all of them: each is
/// weighed with the answers that the others make likely. Targets that are plainly wet are taken out of the trace before
/// the others are weighed. Needs at least 20 seen cells (std::invalid_argument).
struct QuickLook {
    std::vector<evidence::SpotOdds> targets;  ///< in the order given; empty curves: never sprayed where speed was heard
    std::vector<double> grid_rpm;
};
[[nodiscard]] QuickLook quick_look(const evidence::SpeedTrace& trace, std::span<const evidence::BurstGroup> targets,
                                   bool regulated);

/// Log odds from which a target counts as plainly wet here.
inline constexpr double kPlainlyWet = 6.0;

}  // namespace idlehark::plan
