#pragma once

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/click_envelope.hpp"
#include "dsp/injectors/click_events.hpp"
#include "dsp/injectors/click_pair.hpp"

#include <cmath>
#include <limits>
#include <span>
#include <vector>

namespace idlehark {

/// How loud the heard clicks are.
struct ClickLevel {
    double level_db = std::nan("");  ///< energy of a pair of clicks, sample scale; NaN: none over the noise
    /// The same of the clicks' mean power alone; -infinity: none stands out.
    double power_level_db = -std::numeric_limits<double>::infinity();
    double clarity_db = std::nan("");  ///< mean power of a pair over the noise's, in the bands where it stands out
    std::vector<double> energy;        ///< the energy by band; 0 where nothing is over the noise, NaN: not known
};

/// Input    the sound in bands, and as it was read for the events with these weights of the bands; quiet times.
///          `alone`: no other injector clicks at the same time.
/// Method   alone, what the clicks' common waveform has in each band, less what their mean holds beside them: noise
///          that is left and what of the engine comes at the same crank angle. Otherwise, and where they share no
///          waveform, the mean power of the pair's stretch, less that of the quiet; where little of one, the lesser.
///          Both in the same unit.
[[nodiscard]] ClickLevel click_level(const ClickBands& bands, std::span<const double> weights,
                                     const ClickEnvelope& sound, const ClickEvents& events, const ClickPair& pair,
                                     std::span<const double> quiet_s, bool alone, double sample_rate_hz);

/// Power gain of each band for a ClickEnvelope: whitened, and weighed.
[[nodiscard]] std::vector<double> band_gains(const ClickBands& bands, std::span<const double> weights);

}  // namespace idlehark
