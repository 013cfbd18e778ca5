#pragma once

#include "dsp/injectors/click_envelope.hpp"

#include <array>
#include <span>
#include <vector>

namespace idlehark {

/// A click as it rings against the mean of all.
struct ClickPlace {
    double time_s = 0.0;
    double strength = 0.0;           ///< power of what it shares with the mean; 1 for the mean itself
    std::array<double, 2> part_s{};  ///< the opening click's own time and the closing one's; one where not told apart
};

/// The opening click, or the closing one, among the values of a mean.
struct ClickPart {
    std::size_t first = 0;
    std::size_t count = 0;
};

/// The waveform that an injector's clicks have in common. Each click is moved to where it rings like the others and all
/// are averaged: the noise averages out, and so do the neighbours' clicks, whose times scatter by themselves.
/// From opening to closing it is a little longer or shorter each time, so each of the two is moved, not far from
/// the other; a time is that of both, each by its energy.
struct ClickWave {
    std::vector<ClickPlace> clicks;  ///< at the times given, corrected
    Wave mean;                       ///< about a corrected time, on ClickEnvelope::kStep_s; empty without clicks
    std::vector<ClickPart> parts;    ///< what of the mean is compared: one or two
    double noise = 0.0;              ///< mean power of the envelope away from clicks

    [[nodiscard]] std::size_t first() const { return parts.front().first; }
    [[nodiscard]] std::size_t end() const { return parts.back().first + parts.back().count; }
};

/// Input    times of clicks to half a millisecond; the span of the clicks among the values read about them, as first
///          and last index, and where in it the closing ones begin (`first`: not known); `noise`: mean power of the
///          envelope away from clicks.
/// Method   correlation with the mean, whatever its phase, the place between two steps by a parabola; repeated.
[[nodiscard]] ClickWave average_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                                       std::size_t closing, std::size_t last, double noise);

/// Another click, to half a millisecond, against a mean that is not empty.
[[nodiscard]] ClickPlace place_click(const ClickEnvelope& sound, const ClickWave& wave, double time_s);

/// What the noise alone, as read at quiet times (no click near), does to a corrected time: standard deviation, s; 0
/// with fewer than 8 of them.
[[nodiscard]] double timing_error_s(const ClickWave& wave, std::span<const Wave> quiet);

/// How far two means, both not empty and of the same span, ring alike: power of what they share, 0..1.
[[nodiscard]] double coherence(const ClickWave& a, const ClickWave& b);

/// The times alone, of clicks about as loud as the noise.
/// Input    `usual_s`: scatter of the times given; `noise`: mean power of the envelope away from clicks.
/// Method   the same, begun with several clicks and ended with the mean that the others agree with best; a place off
///          the time given must be worth its odds.
[[nodiscard]] std::vector<double> time_faint_clicks(const ClickEnvelope& sound, std::span<const double> times_s,
                                                    std::size_t first, std::size_t last, double usual_s, double noise);

}  // namespace idlehark
