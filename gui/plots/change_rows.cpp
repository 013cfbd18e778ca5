#include "gui/plots/change_rows.hpp"

#include "gui/plots/whisker.hpp"

#include <algorithm>

namespace idlehark::gui {

namespace {

constexpr double kHead = 30.0;
constexpr double kRow = 46.0;
constexpr double kTwoLines = 76.0;
constexpr double kNarrow = 640.0;  // below this a row needs two lines

bool narrow(double width_at_100) { return width_at_100 < kNarrow; }

/// Where the parts of a row stand.
struct Places {
    double name_w, before_x, after_x;  // figures end at their x
    Box plot;                          // y from the row's top
    double verdict_x, verdict_w, verdict_y, text_y, row_h;
};

Places places_for(const Canvas& canvas, const Box& on) {
    const auto px = [&](double v) { return canvas.px(v); };
    Places p{};
    if (narrow(on.w / px(1.0))) {
        p.row_h = px(kTwoLines);
        p.after_x = on.right() - px(4.0);
        p.before_x = p.after_x - px(96.0);
        p.name_w = p.before_x - px(96.0) - on.x;
        p.text_y = px(20.0);
        p.verdict_w = px(196.0);
        p.verdict_x = on.right() - p.verdict_w;
        p.verdict_y = px(54.0);
        p.plot = {on.x + px(4.0), px(44.0), p.verdict_x - px(20.0) - on.x, px(20.0)};
        return p;
    }
    p.row_h = px(kRow);
    p.verdict_w = px(206.0);
    p.verdict_x = on.right() - p.verdict_w;
    p.name_w = std::min(0.28 * on.w, px(280.0));
    p.before_x = on.x + p.name_w + px(84.0);
    p.after_x = p.before_x + px(96.0);
    p.text_y = p.verdict_y = p.row_h / 2.0;
    p.plot = {p.after_x + px(26.0), p.row_h / 2.0 - px(11.0), p.verdict_x - p.after_x - px(46.0), px(22.0)};
    return p;
}

void draw_row(Canvas& canvas, const Places& p, const Box& on, double top, const ChangeRow& r) {
    const double y = top + p.text_y;
    const bool named = !r.name.empty();
    const double figure_y = named ? y - canvas.px(9.0) : y;
    canvas.text_middle({on.x, figure_y}, canvas.fitted(r.figure, p.name_w, Sizes::kText, true), {.bold = true});
    if (named)
        canvas.text_middle({on.x, y + canvas.px(11.0)}, canvas.fitted(r.name, p.name_w, Sizes::kSmallText),
                           {.size = Sizes::kSmallText, .colour = palette::kFaintInk});
    canvas.text_middle({p.before_x, y}, r.before, {.align = Align::right});
    canvas.text_middle({p.after_x, y}, r.after, {.align = Align::right});
    canvas.text_middle({p.after_x + canvas.px(5.0), y}, r.unit,
                       {.size = Sizes::kSmallText, .colour = palette::kFaintInk});
    const Box plot{p.plot.x, top + p.plot.y, p.plot.w, p.plot.h};
    const double most = std::max(std::abs(r.low), std::abs(r.high));
    if (std::isfinite(most) && most > 0.0)
        draw_whisker(canvas, plot,
                     {.value = r.difference, .low = r.low, .high = r.high, .span = 1.15 * most, .finding = r.finding});
    const double sign_y = top + p.verdict_y;
    canvas.sign(r.finding, {p.verdict_x + canvas.px(8.0), sign_y}, canvas.px(8.0));
    const double words_x = p.verdict_x + canvas.px(24.0);
    const double words_w = p.verdict_w - canvas.px(24.0);
    const double up = r.difference_words.empty() ? 0.0 : canvas.px(9.0);
    canvas.text_middle({words_x, sign_y - up}, canvas.fitted(r.verdict, words_w, Sizes::kText, true), {.bold = true});
    if (up > 0.0)
        canvas.text_middle({words_x, sign_y + canvas.px(11.0)},
                           canvas.fitted(r.difference_words, words_w, Sizes::kSmallText), {.size = Sizes::kSmallText});
}

}  // namespace

double change_rows_height(std::size_t rows, double width_at_100) {
    return kHead + (narrow(width_at_100) ? kTwoLines : kRow) * static_cast<double>(rows);
}

void draw_change_rows(Canvas& canvas, const Box& on, std::span<const ChangeRow> rows, const ChangeWords& words) {
    const auto p = places_for(canvas, on);
    const double head = canvas.px(kHead);
    const double y = on.y + head / 2.0;
    const TextStyle small{.size = Sizes::kSmallText, .colour = palette::kFaintInk};
    auto right = small;
    right.align = Align::right;
    canvas.text_middle({p.before_x, y}, words.before, right);
    canvas.text_middle({p.after_x, y}, words.after, right);
    if (!narrow(on.w / canvas.px(1.0))) {
        canvas.text_middle({p.plot.x, y}, words.less, small);
        canvas.text_middle({p.plot.right(), y}, words.more, right);
        canvas.text_middle({p.plot.middle().x, y}, words.same,
                           {.size = Sizes::kSmallText, .bold = true, .align = Align::middle});
    }
    double top = on.y + head;
    for (const auto& r : rows) {
        canvas.line({on.x, top}, {on.right(), top}, canvas.px(1.0), palette::kRule);
        draw_row(canvas, p, on, top, r);
        top += p.row_h;
    }
}

}  // namespace idlehark::gui
