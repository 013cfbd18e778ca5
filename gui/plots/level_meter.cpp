#include "gui/plots/level_meter.hpp"

#include "gui/plots/axis.hpp"

#include <array>

namespace idlehark::gui {

void draw_level_meter(Canvas& canvas, const Box& on, const LevelMeter& m) {
    const double words = m.word.empty() ? 0.0 : canvas.width_of(m.word, Sizes::kText, m.clipped) + canvas.px(10.0);
    const Box bar{on.x, on.y + on.h * 0.3, std::max(on.w - words, on.w * 0.4), on.h * 0.4};
    const Axis x{kQuietest_dbfs, 0.0, bar.x, bar.right()};
    const auto at = [&](double v) { return x.at(std::clamp(v, kQuietest_dbfs, 0.0)); };
    canvas.box(bar, palette::kShade);
    canvas.box({bar.x, bar.y, at(m.peak_dbfs) - bar.x, bar.h}, m.clipped ? palette::kFault : palette::kTrace);
    const double held = at(m.held_dbfs);
    canvas.line({held, bar.y}, {held, bar.bottom()}, canvas.px(3.0), palette::kInk);
    // The bracket around where it should be.
    const double low = at(kGoodFrom_dbfs);
    const double high = at(kGoodTo_dbfs);
    const double arm = on.h * 0.14;
    for (const auto& [y, way] : {std::pair{bar.y - arm, 1.0}, std::pair{bar.bottom() + arm, -1.0}}) {
        const std::array<Point, 4> bracket{{{low, y + way * arm}, {low, y}, {high, y}, {high, y + way * arm}}};
        canvas.polyline(bracket, canvas.px(2.0), palette::kInk);
    }
    if (!m.word.empty())
        canvas.text_middle({bar.right() + canvas.px(8.0), on.middle().y},
                           canvas.fitted(m.word, on.right() - bar.right() - canvas.px(8.0), Sizes::kText, m.clipped),
                           {.bold = m.clipped, .colour = m.clipped ? palette::kFault : palette::kInk});
}

}  // namespace idlehark::gui
