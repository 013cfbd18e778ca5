#pragma once

#include "dsp/injectors/click_envelope.hpp"
#include "dsp/injectors/click_wave.hpp"
#include "dsp/injectors/power_course.hpp"

#include <array>
#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// Single clicks of one injector, each measured against the mean of all.
struct ClickEvents {
    std::size_t first_due = 0;    ///< of the due times; one or two missing at either end are left out of the rest
    std::vector<double> heard_s;  ///< per due time: the click's time by the common shape; NaN where missed
    /// Per due time: the opening click's own time and the closing one's; where they are alike.
    std::vector<std::array<double, 2>> part_s;
    std::vector<double> strength;  ///< per due time: energy in the shape, 1 for the typical heard click
    int missed = 0;
    double noise = 0.0;           ///< mean envelope power away from the clicks
    double timing_error_s = 0.0;  ///< what the noise alone does to heard_s, standard deviation
    PowerCourse shape;            ///< mean envelope power about heard_s, noise included
    /// Of the values of ClickEnvelope about heard_s: where the clicks are, and where the closing ones begin
    /// (core_first: not told from the opening ones).
    std::size_t core_first = 0, core_closing = 0, core_last = 0;
    double common_share = 0.0;  ///< of the mean energy of the clicks, in the shared waveform
    bool alike = false;         ///< the clicks share a waveform
    ClickWave wave;             ///< the waveform itself; where they are alike
};

/// Input    due times; quiet times (no click near) for the noise; both within the recording.
/// Method   mean envelope as template, events shifted to it, repeated; an event is missed when its energy is nearer to
///          the missing than to the typical one, the line between drawn where the energies leave a gap.
[[nodiscard]] ClickEvents measure_events(const ClickEnvelope& sound, std::span<const double> due_s,
                                         std::span<const double> quiet_s);

/// How far the envelope reaches to each side of a due time, in steps of ClickEnvelope::kStep_s.
[[nodiscard]] int event_reach() noexcept;

}  // namespace idlehark
