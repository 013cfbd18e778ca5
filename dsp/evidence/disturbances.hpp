#pragma once

#include "dsp/evidence/coloured_noise.hpp"
#include "dsp/evidence/speed_trace.hpp"

#include <vector>

namespace idlehark::evidence {

/// A change of idle speed that did not come back: a fan, lamps, an idle valve, or the engine's own whim.
struct FoundStep {
    double time_s = 0.0;
    double change_rpm = 0.0;
    double rise_s = 0.0;
};

/// What is in the trace besides the idle's unrest and the answers to spray, found without looking at the marks, so that
/// real and sham placements meet the same trace.
struct Disturbances {
    std::vector<FoundStep> steps;
    SpeedTrace cleaned;   ///< without the steps and failed firings; cells with glitches are no longer seen
    ColouredNoise noise;  ///< learned from what remains when gross transients are taken out as well
};

/// Greedy search: the noise is learned, the trace whitened, and every place asked whether a step, a transient (any
/// shape of the bank), a firing that failed (a fall at once, made good within a second) or a single wrong cell explains
/// it best; whatever stands out is taken out and the search repeats.
/// A transient is only taken out of the copy from which the noise is learned.
/// Needs at least 20 seen cells (std::invalid_argument).
[[nodiscard]] Disturbances find_disturbances(const SpeedTrace& trace, int noise_order);

/// Looks once more, now that the answers to spray are known: the load steps that they hid leave `found.cleaned`, and
/// the noise is learned without them. Input    `without_answers`: the speeds of `found.cleaned` less the answers.
/// Output   the trace without either.
SpeedTrace look_again(Disturbances& found, std::vector<double> without_answers, int noise_order);

}  // namespace idlehark::evidence
