#include "gui/plots/click_fold.hpp"

#include "gui/plots/axis.hpp"

#include <algorithm>

namespace idlehark::gui {

namespace {

constexpr double kLow_db = -2.0;
constexpr double kLeastHigh_db = 12.0;

double decibels(double ratio) { return 10.0 * std::log10(std::max(ratio, 1e-3)); }

void draw_one(Canvas& canvas, const Box& on, const ClickFold& f, double high_db) {
    canvas.box(on, palette::kPanel);
    canvas.frame(on, canvas.px(1.0), palette::kRule);
    const auto look = colours(f.finding);
    const Box plate{on.x + canvas.px(6.0), on.y + canvas.px(6.0), canvas.px(30.0), canvas.px(26.0)};
    canvas.round_box(plate, canvas.px(5.0), look.fill);
    canvas.round_frame(plate, canvas.px(5.0), canvas.px(1.5), palette::kInk);
    canvas.text_middle(plate.middle(), f.id, {.bold = true, .colour = look.on, .align = Align::middle});
    canvas.sign(f.finding, {plate.right() + canvas.px(16.0), plate.middle().y}, canvas.px(7.0));
    const double words = plate.right() + canvas.px(30.0);
    canvas.text_middle({words, plate.middle().y},
                       canvas.fitted(f.verdict, on.right() - words - canvas.px(4.0), Sizes::kText, true),
                       {.bold = true});

    const Box plot{on.x + canvas.px(8.0), plate.bottom() + canvas.px(6.0), on.w - canvas.px(16.0),
                   on.bottom() - plate.bottom() - canvas.px(34.0)};
    if (plot.h < canvas.px(20.0)) return;
    if (!f.figure.empty())
        canvas.text({plot.x, on.bottom() - canvas.px(8.0)}, canvas.fitted(f.figure, plot.w, Sizes::kSmallText),
                    {.size = Sizes::kSmallText});
    if (f.power.size() < 2) return;
    const Axis x{f.from_ms, f.from_ms + f.step_ms * static_cast<double>(f.power.size() - 1), plot.x, plot.right()};
    const Axis y{kLow_db, high_db, plot.bottom(), plot.y};
    canvas.line({plot.x, y.at(0.0)}, {plot.right(), y.at(0.0)}, canvas.px(1.0), palette::kRule);
    std::vector<double> xs;
    std::vector<double> tops;
    std::vector<Point> line;
    for (std::size_t i = 0; i < f.power.size(); ++i) {
        xs.push_back(x.at(f.from_ms + f.step_ms * static_cast<double>(i)));
        tops.push_back(y.at(std::clamp(decibels(f.power[i]), kLow_db, high_db)));
        line.push_back({xs.back(), tops.back()});
    }
    const std::vector<double> floor(xs.size(), plot.bottom());
    canvas.strip(xs, floor, tops, palette::kTraceBand);
    canvas.polyline(line, canvas.px(2.0), palette::kTrace);
    for (const double t : {f.open_ms, f.close_ms}) {
        if (!std::isfinite(t)) continue;
        canvas.dashes({x.at(t), plot.y}, {x.at(t), plot.bottom()}, canvas.px(1.5), canvas.px(4.0), palette::kInk);
    }
}

}  // namespace

void draw_click_folds(Canvas& canvas, const Box& on, std::span<const ClickFold> folds) {
    if (folds.empty()) return;
    double high_db = kLeastHigh_db;
    for (const auto& f : folds)
        for (const double p : f.power) high_db = std::max(high_db, decibels(p) + 2.0);
    // As many side by side as keep a panel at least so wide.
    const double gap = canvas.px(8.0);
    const auto n = folds.size();
    auto across = static_cast<std::size_t>(std::max(1.0, (on.w + gap) / (canvas.px(190.0) + gap)));
    across = std::min(across, n);
    const auto down = (n + across - 1) / across;
    across = (n + down - 1) / down;  // even rows
    const double w = (on.w - gap * static_cast<double>(across - 1)) / static_cast<double>(across);
    const double h = (on.h - gap * static_cast<double>(down - 1)) / static_cast<double>(down);
    for (std::size_t i = 0; i < n; ++i) {
        const auto column = static_cast<double>(i % across);
        const std::size_t row = i / across;
        draw_one(canvas, {on.x + column * (w + gap), on.y + static_cast<double>(row) * (h + gap), w, h}, folds[i],
                 high_db);
    }
    canvas.flush();
}

}  // namespace idlehark::gui
