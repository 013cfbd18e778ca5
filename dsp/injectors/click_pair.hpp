#pragma once

#include "dsp/injectors/click_events.hpp"

#include <cmath>
#include <vector>

namespace idlehark {

/// Start of the opening and of the closing click on the time scale of ClickEvents::shape.
struct ClickPair {
    double open_s = std::nan("");
    double close_s = std::nan("");  ///< NaN where there is no second rise
    double rise = 1.0;              ///< of the second click against the clearest candidate's
};

/// What may be the two clicks of an injector.
/// Output   at least one; the clearest first. All share the steepest rise of the mean waveform (of the mean envelope
///          where the clicks are not alike); what else rises, half as steep as the clearest at least, may be its
///          partner: rebounds and what the engine ticks at the same crank angle rise, too, and which it is the other
///          injectors of the set tell.
[[nodiscard]] std::vector<ClickPair> find_pairs(const ClickEvents& events);

}  // namespace idlehark
