#pragma once

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/power_course.hpp"
#include "dsp/units.hpp"

#include <span>

namespace idlehark {

/// Power of the mean sound of clicks, as sharp in time as the band allows: the wider, the sharper.
/// Input    times of the clicks; `from_s`, `to_s`: the stretch about each of them; what lies outside the recording, or
///          is not finite, is silence.
/// Method   each click moved by its fraction of a sample; one-sided band, so that the squared magnitude is the
///          power; its phase that of a minimum-phase filter, so that nothing sounds before its time. On a step of
///          12.5 us or finer.
[[nodiscard]] PowerCourse mean_power(AudioView x, double sample_rate_hz, FrequencyRange band,
                                     std::span<const double> times_s, double from_s, double to_s);

}  // namespace idlehark
