#include "gui/plots/rows.hpp"

#include "gui/plots/axis.hpp"
#include "gui/plots/whisker.hpp"

#include <algorithm>

namespace idlehark::gui {

namespace {

struct Columns {
    double plate = 0.0;
    double name = 0.0;
    double plot = 0.0;
    double figure = 0.0;
    double verdict = 0.0;
};

/// Widths that fit: names give way first, then figures.
Columns columns_for(const Canvas& canvas, double width, std::span<const ResultRow> rows) {
    Columns c;
    double names = 0.0;
    for (const auto& r : rows) {
        c.plate =
            std::max(c.plate, std::max(canvas.px(30.0), canvas.width_of(r.id, Sizes::kText, true) + canvas.px(12.0)));
        names = std::max(names, canvas.width_of(r.name, Sizes::kText) + canvas.px(10.0));
        c.figure = std::max(c.figure, canvas.width_of(r.figure, Sizes::kText) + canvas.px(10.0));
        c.verdict = std::max(c.verdict, canvas.width_of(r.verdict, Sizes::kText, true) + canvas.px(30.0));
    }
    const double least_plot = canvas.px(110.0);
    double rest = width - c.plate - canvas.px(8.0) - c.verdict - least_plot;
    if (rest < c.figure)
        c.figure = 0.0;
    else
        rest -= c.figure;
    c.name = std::clamp(rest, 0.0, std::min(names, width * 0.4));
    if (c.name < canvas.px(60.0)) c.name = 0.0;
    c.plot = width - c.plate - canvas.px(8.0) - c.name - c.figure - c.verdict - canvas.px(10.0);
    return c;
}

/// A name in one line, or in two of small letters.
void draw_name(Canvas& canvas, double x, double middle, const std::string& name, double width) {
    if (canvas.width_of(name, Sizes::kText) <= width) {
        canvas.text_middle({x, middle}, name, {});
        return;
    }
    const double line = canvas.px(16.0);
    const auto lines = canvas.wrapped(name, width, Sizes::kSmallText, false, 2);
    double y = middle - line * (static_cast<double>(lines.size()) - 1.0) / 2.0;
    for (const auto& l : lines) {
        canvas.text_middle({x, y}, l, {.size = Sizes::kSmallText});
        y += line;
    }
}

void draw_bar(Canvas& canvas, const Box& on, const ResultRow& r, const RowsScale& scale) {
    const Axis x{scale.low, scale.high, on.x, on.right()};
    const auto at = [&](double v) { return x.at(std::clamp(v, scale.low, scale.high)); };
    const double zero = at(scale.zero);
    canvas.box({on.x, on.y, on.w, on.h}, palette::kShade);
    if (std::isfinite(r.value)) {
        const double end = at(r.value);
        canvas.box({std::min(zero, end), on.y, std::abs(end - zero), on.h},
                   r.finding == Finding::fault ? palette::kFault : palette::kTrace);
    }
    if (std::isfinite(r.low) && std::isfinite(r.high)) {  // light under dark: seen on the bar and beside it
        const double m = on.middle().y;
        for (const auto& [w, colour] : {std::pair{5.0, palette::kPanel}, std::pair{2.0, palette::kInk}}) {
            canvas.line({at(r.low), m}, {at(r.high), m}, canvas.px(w), colour);
            for (const double v : {r.low, r.high})
                canvas.line({at(v), m - on.h * 0.3}, {at(v), m + on.h * 0.3}, canvas.px(w), colour);
        }
    }
    if (std::isfinite(scale.usual))
        canvas.line({at(scale.usual), on.y - canvas.px(4.0)}, {at(scale.usual), on.bottom() + canvas.px(4.0)},
                    canvas.px(2.0), palette::kInk);
}

}  // namespace

std::size_t rows_with_room(double height_px, double row_px) noexcept {
    return static_cast<std::size_t>(std::max(0.0, height_px / row_px + 1e-3));
}

std::size_t draw_rows(Canvas& canvas, const Box& on, std::span<const ResultRow> rows, const RowsScale& scale,
                      std::size_t first) {
    const double height = canvas.px(kRowHeight);
    const auto room = rows_with_room(on.h, height);
    const auto c = columns_for(canvas, on.w, rows);
    std::size_t drawn = 0;
    for (; drawn < room && first + drawn < rows.size(); ++drawn) {
        const auto& r = rows[first + drawn];
        const double top = on.y + height * static_cast<double>(drawn);
        const double middle = top + height / 2.0;
        if (drawn > 0) canvas.line({on.x, top}, {on.right(), top}, canvas.px(1.0), palette::kRule);
        double x = on.x;
        const Box plate{x, middle - canvas.px(13.0), c.plate, canvas.px(26.0)};
        const auto look = colours(r.finding);
        canvas.round_box(plate, canvas.px(5.0), look.fill);
        canvas.round_frame(plate, canvas.px(5.0), canvas.px(1.5), palette::kInk);
        canvas.text_middle(plate.middle(), r.id, {.bold = true, .colour = look.on, .align = Align::middle});
        x += c.plate + canvas.px(8.0);
        if (c.name > 0.0) draw_name(canvas, x, middle, r.name, c.name - canvas.px(10.0));
        x += c.name;
        const Box plot{x, middle - canvas.px(9.0), std::max(1.0, c.plot), canvas.px(18.0)};
        if (scale.bars)
            draw_bar(canvas, plot, r, scale);
        else
            draw_whisker(canvas, plot,
                         {.value = r.value,
                          .low = r.low,
                          .high = r.high,
                          .span = scale.high,
                          .matters = scale.matters,
                          .finding = r.finding});
        x += c.plot;
        if (c.figure > 0.0) canvas.text_middle({x + c.figure, middle}, r.figure, {.align = Align::right});
        x += c.figure + canvas.px(10.0);
        canvas.sign(r.finding, {x + canvas.px(8.0), middle}, canvas.px(7.0));
        canvas.text_middle({x + canvas.px(22.0), middle},
                           canvas.fitted(r.verdict, on.right() - x - canvas.px(22.0), Sizes::kText, true),
                           {.bold = r.finding != Finding::clear});
    }
    canvas.flush();
    return drawn;
}

}  // namespace idlehark::gui
