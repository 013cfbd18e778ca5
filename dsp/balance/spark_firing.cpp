#include "dsp/balance/spark_firing.hpp"

#include <cmath>
#include <limits>

namespace idlehark {

namespace {
constexpr double kCombustionFrom_deg = -10.0;
constexpr double kCombustion_deg = 20.0;  // usually
constexpr double kCombustionTo_deg = 70.0;
constexpr double kValveOpensFrom_deg = 115.0;
constexpr double kValveOpensTo_deg = 165.0;
constexpr double kLongestPipe_s = 12e-3;
constexpr double kEarliest_deg = -40.0;
}  // namespace

SparkFiring firing_of_spark(std::span<const double> after_deg, double cycle_deg, double rpm) {
    SparkFiring out;
    const double pipe_deg = 6.0 * rpm * kLongestPipe_s;
    double nearest = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < after_deg.size(); ++i) {
        const double after = after_deg[i] - cycle_deg * std::floor((after_deg[i] - kEarliest_deg) / cycle_deg);
        if (after >= kValveOpensFrom_deg && after <= kValveOpensTo_deg + pipe_deg) out.at_tail_pipe.push_back(i);
        const double off = std::fabs(after - kCombustion_deg);
        if (after >= kCombustionFrom_deg && after <= kCombustionTo_deg && off < nearest)
            nearest = off, out.at_engine = i;
    }
    return out;
}

}  // namespace idlehark
