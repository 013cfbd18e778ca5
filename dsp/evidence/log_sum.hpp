#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

namespace idlehark::evidence {

/// log(exp(a) + exp(b)) without overflow; minus infinity is the log of 0.
[[nodiscard]] inline double log_add(double a, double b) {
    const double m = std::max(a, b);
    return m == -std::numeric_limits<double>::infinity() ? m : m + std::log1p(std::exp(-std::abs(a - b)));
}

/// The same of all of `x`, which is not empty.
[[nodiscard]] inline double log_sum(std::span<const double> x) {
    const double top = *std::max_element(x.begin(), x.end());
    if (top == -std::numeric_limits<double>::infinity()) return top;
    double sum = 0.0;
    for (const double v : x) sum += std::exp(v - top);
    return top + std::log(sum);
}

}  // namespace idlehark::evidence
