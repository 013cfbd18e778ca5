#pragma once

#include "dsp/injectors/click_events.hpp"
#include "dsp/injectors/mean_power.hpp"

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
/// Output   at least one; the clearest first. All share the clearest rise; what else rises, half as clearly as the
///          clearest other at least, may be its partner: rebounds and what the engine ticks at the same crank angle
///          rise, too, and which it is the other injectors of the set tell.
/// Method   a start is where the power is most likely of one mean before and of another behind (Maeda's criterion,
///          known from the arrival times of earthquakes: N. Maeda, Zisin 38 (1985) 365, from memory). A click whose
///          parts are out of phase at first starts far below its top: no share of the top finds that. A rise is as
///          clear as that is likely, and as it is steep.
[[nodiscard]] std::vector<ClickPair> find_pairs(const PowerCourse& course);

/// The same of single clicks. Where they share a waveform and the band is wide, of the mean of the sound itself, with
/// the start of the opening clicks by their own times and that of the closing ones by theirs; where it is narrow, of
/// that waveform; else of the mean envelope.
[[nodiscard]] std::vector<ClickPair> find_pairs(const ClickEvents& events, AudioView x, double sample_rate_hz,
                                                FrequencyRange band);

}  // namespace idlehark
