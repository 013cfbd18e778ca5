#pragma once

#include "dsp/idle_tracker.hpp"

#include <optional>
#include <span>
#include <vector>

namespace idlehark {

/// Working cycles done since the start of a recording, as followed: zero at time 0, rising, linear between knots.
/// Where the cycle begins is not known, only how far the crank has turned.
class CrankClock {
   public:
    /// From cycle rates at k * step_s, at least two, all positive.
    CrankClock(std::span<const double> cycle_rates_hz, double step_s);

    [[nodiscard]] double cycles_at(double time_s) const noexcept;  ///< extrapolated at the ends; NaN stays NaN
    [[nodiscard]] double time_at(double cycles) const noexcept;    ///< inverse of `cycles_at`
    [[nodiscard]] double mean_rate_hz() const noexcept;
    [[nodiscard]] double duration_s() const noexcept { return step_s_ * static_cast<double>(cycles_.size() - 1); }

   private:
    double step_s_;
    std::vector<double> cycles_;  // at k * step_s_
};

/// The clock of the tracker's readings (`hop_s` apart); smoothed over a second (the
/// clicks show the rest themselves), stretches without lock bridged. Nothing if less than
/// half of the readings are locked: such a recording does not carry the firing.
[[nodiscard]] std::optional<CrankClock> clock_from_readings(std::span<const RpmReading> readings, double hop_s,
                                                            const Engine& engine);

/// The clock of the clicks alone, for a probe that hears no firing.
/// Input    click strength every `hop_s`; the idle range of the engine.
/// Output   the cycle rate within the range (10 % wider) at which the strength repeats best, followed over the
///          recording; nothing when it is shorter than 2 s.
/// The clock follows the rate to two or three percent; it does not say whether there are clicks.
[[nodiscard]] std::optional<CrankClock> clock_from_clicks(std::span<const float> strength, double hop_s,
                                                          const Engine& engine);

/// The clock of cycles whose starts are known roughly: the rate over ten cycles around each moment. At least 2 starts.
[[nodiscard]] CrankClock clock_from_cycles(std::span<const double> start_s, double length_s);

/// Spacing of the readings below: the clock smooths them over a second and more.
inline constexpr double kRumbleHop_s = 0.2;

/// The tracker's readings of a probe's rumble, kRumbleHop_s apart. From 16 kHz on only the lower part of the sound is
/// given to it: the clicks carry nothing it needs.
[[nodiscard]] std::vector<RpmReading> readings_of_rumble(AudioView x, double sample_rate_hz, const Engine& engine);

}  // namespace idlehark
