#pragma once

#include <cmath>

namespace idlehark::gui {

/// Sizes at 100 %, in pixels; everything on the screen is one of these times the scale (1 to 3).
struct Sizes {
    double scale = 1.0;

    static constexpr double kSmallText = 13.0;
    static constexpr double kText = 16.0;
    static constexpr double kStrongText = 20.0;  ///< numbers of spots, verdicts
    static constexpr double kTitle = 28.0;
    static constexpr double kHuge = 44.0;    ///< the speed, the next spot: read at arm's length
    static constexpr double kTarget = 44.0;  ///< least height and width of what a gloved finger has to hit
    static constexpr double kGap = 8.0;

    [[nodiscard]] double px(double at_100) const noexcept { return at_100 * scale; }
    [[nodiscard]] unsigned text_px(double at_100) const noexcept {
        return static_cast<unsigned>(std::lround(at_100 * scale));
    }
};

}  // namespace idlehark::gui
