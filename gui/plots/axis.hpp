#pragma once

#include <vector>

namespace idlehark::gui {

/// A straight axis with round ticks.
struct Axis {
    double low = 0.0;
    double high = 1.0;
    double from_px = 0.0;
    double to_px = 1.0;

    [[nodiscard]] double at(double v) const noexcept { return from_px + (v - low) / (high - low) * (to_px - from_px); }
    /// Multiples of 1, 2 or 5 times a power of ten, at most `most` of them.
    [[nodiscard]] std::vector<double> ticks(int most) const;
};

/// The axis that shows values from `low` to `high`, `least` wide or wider, with a little air at both ends.
[[nodiscard]] Axis roomy_axis(double low, double high, double least, double from_px, double to_px);

}  // namespace idlehark::gui
