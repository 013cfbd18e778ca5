#include "src/live/watches.hpp"

#include <algorithm>
#include <cmath>
#include <ctime>

namespace idlehark {

namespace {
constexpr double kWindow_s = 1.0;
constexpr double kSettled_s =
    0.1;  // between one second's least lag and the next one's: neither stalled nor catching up
constexpr double kLeastLoss_s = 0.5;

double seconds(clockid_t clock) noexcept {
    timespec t{};
    clock_gettime(clock, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}
}  // namespace

std::optional<double> SleepWatch::slept_s() noexcept {
    const double monotonic_s = seconds(CLOCK_MONOTONIC);
    return slept_s(seconds(CLOCK_BOOTTIME), monotonic_s);
}

std::optional<double> LagWatch::lost_s(double sound_s, double clock_s) noexcept {
    const double lag_s = clock_s - sound_s;
    if (!any_) {
        any_ = true;
        window_start_s_ = clock_s;
        least_lag_s_ = lag_s;
    }
    least_lag_s_ = std::min(least_lag_s_, lag_s);
    if (clock_s - window_start_s_ < kWindow_s) return {};
    const double least_s = least_lag_s_;
    const bool settled = previous_s_ && std::abs(least_s - *previous_s_) < kSettled_s;
    previous_s_ = least_s;
    window_start_s_ = clock_s;
    least_lag_s_ = lag_s;
    if (!settled) return {};
    const double lost = least_s - usual_s_.value_or(least_s);
    usual_s_ = least_s;
    if (lost < kLeastLoss_s) return {};
    return lost;
}

}  // namespace idlehark
