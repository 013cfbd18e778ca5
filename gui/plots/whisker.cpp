#include "gui/plots/whisker.hpp"

#include <array>
#include <cmath>

namespace idlehark::gui {

void draw_whisker(Canvas& canvas, const Box& on, const Whisker& w) {
    const double zero = on.x + on.w / 2.0;
    const auto at = [&](double v) { return zero + std::clamp(v / w.span, -1.0, 1.0) * on.w / 2.0; };
    const double middle = on.y + on.h / 2.0;
    canvas.line({on.x, middle}, {on.right(), middle}, canvas.px(1.0), palette::kRule);
    if (w.matters > 0.0 && w.matters < w.span)
        for (const double v : {-w.matters, w.matters})
            canvas.dashes({at(v), on.y}, {at(v), on.bottom()}, canvas.px(1.0), canvas.px(2.0), palette::kFaintInk);
    canvas.line({zero, on.y - canvas.px(1.0)}, {zero, on.bottom() + canvas.px(1.0)}, canvas.px(1.5), palette::kInk);
    if (!std::isfinite(w.low) || !std::isfinite(w.high)) return;

    const auto ink = w.finding == Finding::fault ? palette::kFault : palette::kInk;
    const double thick = canvas.px(w.finding == Finding::fault ? 4.0 : 2.5);
    canvas.line({at(w.low), middle}, {at(w.high), middle}, thick, ink);
    const double tip = std::min(on.h / 2.0, canvas.px(5.0));
    for (const auto& [v, way] : {std::pair{w.low, -1.0}, std::pair{w.high, 1.0}}) {
        const double x = at(v);
        if (std::abs(v) <= w.span) {
            canvas.line({x, middle - tip}, {x, middle + tip}, canvas.px(1.5), ink);
        } else {
            const std::array<Point, 3> head{
                {{x, middle}, {x - way * tip, middle - tip}, {x - way * tip, middle + tip}}};
            canvas.polygon(head, ink);
        }
    }
    if (!std::isfinite(w.value) || std::abs(w.value) > w.span) return;
    canvas.disc({at(w.value), middle}, std::min(on.h / 2.0, canvas.px(4.5)), ink);
    if (w.finding != Finding::fault) canvas.disc({at(w.value), middle}, canvas.px(2.0), palette::kPanel);
}

}  // namespace idlehark::gui
