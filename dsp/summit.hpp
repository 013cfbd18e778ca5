#pragma once

#include <algorithm>

namespace idlehark {

/// Offset of the summit of a parabola through three equally spaced values, -0.5..0.5 of the spacing; 0 without a
/// summit.
[[nodiscard]] inline double summit(double left, double centre, double right) {
    const double curvature = left - 2.0 * centre + right;
    return curvature >= 0.0 ? 0.0 : std::clamp(0.5 * (left - right) / curvature, -0.5, 0.5);
}

}  // namespace idlehark
