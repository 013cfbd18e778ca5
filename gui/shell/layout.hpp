#pragma once

#include "gui/look/geometry.hpp"
#include "gui/view_state.hpp"

#include <array>

namespace idlehark::gui {

struct Rect {
    float x = 0.0F, y = 0.0F, w = 0.0F, h = 0.0F;
    [[nodiscard]] constexpr float right() const noexcept { return x + w; }
    [[nodiscard]] constexpr float bottom() const noexcept { return y + h; }
    [[nodiscard]] constexpr bool empty() const noexcept { return w <= 0.0F || h <= 0.0F; }
    [[nodiscard]] constexpr bool holds(float px, float py) const noexcept {
        return px >= x && px < right() && py >= y && py < bottom();
    }
};

[[nodiscard]] constexpr Box box_of(const Rect& r) noexcept {
    return {static_cast<double>(r.x), static_cast<double>(r.y), static_cast<double>(r.w), static_cast<double>(r.h)};
}

struct Size {
    float w = 0.0F, h = 0.0F;
};

/// Which of page and map is shown where only one has room.
enum class Front { page, map };

/// Where everything goes, in pixels. Parts that have no room are empty; `stop`, `say` and `speed` always have some.
struct Layout {
    Rect say;                            ///< the next step, in one sentence
    Rect stop;                           ///< always at the upper right
    Rect rail;                           ///< the way through; folded into one row where it is narrow
    std::array<Rect, kStages> stations;  ///< of the rail
    bool station_names = false;          ///< room for more than the numbers
    Rect page, map;                      ///< either may be empty
    Rect flip;                           ///< swaps page and map; empty where both are shown
    Rect speed, trace, lamps;            ///< the instruments at the lower edge
};

/// The scale that is asked for, as far as the window has room for it: at 300 % a small one would show two lines.
[[nodiscard]] float scale_with_room(float asked, Size size) noexcept;

/// Pure. `size` in pixels (at least 320 by 240), `scale` 1..3.
[[nodiscard]] Layout lay_out(Size size, float scale, Stage stage, Front front = Front::page);

}  // namespace idlehark::gui
