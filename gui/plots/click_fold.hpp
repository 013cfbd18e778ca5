#pragma once

#include "gui/look/canvas.hpp"

#include <cmath>
#include <span>
#include <string>
#include <vector>

namespace idlehark::gui {

/// One injector's clicks laid over each other, cycle on cycle.
struct ClickFold {
    std::string id{};                 ///< cylinder
    std::span<const double> power{};  ///< about the own click, against the noise (ratio)
    double from_ms = 0.0;
    double step_ms = 0.0;
    double open_ms = std::nan("");
    double close_ms = std::nan("");
    Finding finding = Finding::open;
    std::string verdict{};
    std::string figure{};  ///< "6.7 per second, 0 % missed"
};

/// A panel an injector, side by side or stacked as the box is wide, all on one decibel axis; opening and closing
/// marked. An empty fold says by its verdict that nothing was taken.
void draw_click_folds(Canvas& canvas, const Box& on, std::span<const ClickFold> folds);

}  // namespace idlehark::gui
