#pragma once

#include "dsp/units.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// Levels of one channel over a stretch of sound.
struct ChannelLevel {
    double rms_dbfs = 0.0;  ///< 20 log10 of the rms re amplitude 1; at least -200
    double peak_dbfs = 0.0;
    double clipped_share = 0.0;  ///< samples at full scale
    double hum_share = 0.0;      ///< of the power: mains hum, 50 or 60 Hz and their multiples up to 10, 0..1
};

/// Measures one channel. Hum is the power within 1.5 Hz of the mains lines, by Goertzel's recursion over whole
/// seconds; it needs at least one second, below that it is 0.
[[nodiscard]] ChannelLevel measure_level(AudioView x, double sample_rate_hz);

/// What is wrong with a level, in words for the user; nothing if it will do.
/// Limits (common practice, no source): silent below -80 dBFS rms, too quiet below -60, clipped above 0.1 % of the
/// samples, only hum above 90 % of the power.
[[nodiscard]] std::optional<std::string> level_complaint(const ChannelLevel& level);

/// Which of two channels carries the microphone and which a pick-up clamped on an ignition lead: the pick-up is
/// narrow spikes, and its kurtosis is at least 5 times the other's and above 15. Index of the microphone; nothing if
/// neither channel looks like a pick-up.
[[nodiscard]] std::optional<int> tell_microphone(AudioView first, AudioView second);

}  // namespace idlehark
