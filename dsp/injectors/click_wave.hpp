#pragma once

#include "dsp/injectors/click_envelope.hpp"

#include <complex>
#include <span>
#include <vector>

namespace idlehark {

/// The waveform that an injector's clicks have in common. Each click is moved to where it rings like the others and all
/// are averaged: the noise averages out, and so do the neighbours' clicks, whose times scatter by themselves.
struct ClickWave {
    std::vector<double> heard_s;             ///< the times given, corrected
    std::vector<std::complex<double>> mean;  ///< about a corrected time, on ClickEnvelope::kStep_s
    double timing_error_s = 0.0;             ///< what the noise alone does to heard_s, standard deviation
};

/// Input    times of clicks to half a millisecond; the span of the clicks among the values read about them, as first
///          and last index; quiet times (none near) for the noise.
/// Method   correlation with the mean, whatever its phase, the place between two steps by a parabola; repeated.
[[nodiscard]] ClickWave average_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                                       std::size_t last, std::span<const double> quiet_s);

/// The times alone, of clicks about as loud as the noise.
/// Input    `usual_s`: scatter of the times given; `noise`: mean power of the envelope away from clicks.
/// Method   the same, begun with several clicks and ended with the mean that the others agree with best; a place off
///          the time given must be worth its odds.
[[nodiscard]] std::vector<double> time_faint_clicks(const ClickEnvelope& sound, std::span<const double> times_s,
                                                    std::size_t first, std::size_t last, double usual_s, double noise);

}  // namespace idlehark
