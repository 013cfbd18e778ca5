#include "dsp/balance/ordinary_firings.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {
constexpr double kApart = 3.3;       // standard deviations within the heaps; the halves of a bell: 2.65
constexpr double kMissingIs = 0.42;  // of the upper heap's middle, at most
constexpr double kFewest = 0.05;     // of the firings, in the upper heap;
constexpr double kMany = 0.25;       // in the lower one: a middle of all stands up to fewer
}  // namespace

double ordinary_above(std::vector<double> strengths) {
    std::sort(strengths.begin(), strengths.end());
    double sum = 0.0, square = 0.0;
    for (const double v : strengths) sum += v, square += v * v;
    const auto n = static_cast<double>(strengths.size());
    double below = 0.0, most = 0.0, line = -std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i + 1 < strengths.size(); ++i) {
        below += strengths[i];
        const auto count = static_cast<double>(i + 1);
        if (count < kMany * n || n - count < std::max(2.0, kFewest * n)) continue;
        const double low = below / count, high = (sum - below) / (n - count);
        const double within = square - count * low * low - (n - count) * high * high;
        const double apart = (high - low) / std::sqrt(std::max(within / n, 1e-12));
        if (apart <= most) continue;
        most = apart;
        line = apart > kApart && low < kMissingIs * high ? 0.5 * (strengths[i] + strengths[i + 1])
                                                         : -std::numeric_limits<double>::infinity();
    }
    return line;
}

}  // namespace idlehark
