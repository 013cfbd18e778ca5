#include "src/live/watches.hpp"

#include <ctime>

namespace idlehark {

namespace {
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

}  // namespace idlehark
