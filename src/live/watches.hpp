#pragma once

#include <chrono>
#include <cstdint>
#include <optional>

namespace idlehark {

/// Has the device stopped delivering? Told the frame count again and again, says so after `patience` without change. A
/// pause in the asking, the program itself being held up, is not the device's.
class StallWatch {
   public:
    using Clock = std::chrono::steady_clock;
    explicit StallWatch(Clock::duration patience) noexcept : patience_(patience) {}
    [[nodiscard]] bool stalled(std::uint64_t frames, Clock::time_point now) noexcept {
        if (!since_ || frames != frames_ || now - asked_ > patience_) {
            frames_ = frames;
            since_ = now;
        }
        asked_ = now;
        return now - *since_ > patience_;
    }

   private:
    Clock::duration patience_;
    std::uint64_t frames_ = 0;
    std::optional<Clock::time_point> since_;
    Clock::time_point asked_;
};

/// Has the machine slept? Linux counts the time asleep in CLOCK_BOOTTIME and not in CLOCK_MONOTONIC; told both again
/// and again, hands out the sleep since the last call once it is longer than half a second.
class SleepWatch {
   public:
    [[nodiscard]] std::optional<double> slept_s(double boottime_s, double monotonic_s) noexcept {
        const double asleep_s = boottime_s - monotonic_s;
        const double before_s = asleep_s_.value_or(asleep_s);
        asleep_s_ = asleep_s;
        if (asleep_s - before_s > kShortest_s) return asleep_s - before_s;
        return {};
    }
    /// With the system's clocks.
    [[nodiscard]] std::optional<double> slept_s() noexcept;

   private:
    static constexpr double kShortest_s = 0.5;
    std::optional<double> asleep_s_;
};

/// Has sound been lost without anybody saying so? A sound server whose buffer overflows, while this program was stopped
/// or starved, drops sound silently. Told again and again how much sound has come and what the clock says: sound may
/// lag while a backlog is handed over, but once it comes at its own pace again it must have caught up. Hands out what
/// it has not caught up with, from half a second on, two to three seconds after the loss. Clocks that run apart are
/// followed.
class LagWatch {
   public:
    [[nodiscard]] std::optional<double> lost_s(double sound_s, double clock_s) noexcept;

   private:
    double window_start_s_ = 0.0, least_lag_s_ = 0.0;  ///< of the second that runs: just after a delivery
    std::optional<double> previous_s_, usual_s_;
    bool any_ = false;
};

}  // namespace idlehark
