#include "src/report/compare_picture.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kTop = 206, kRow = 56;
constexpr double kNumbers = 440, kLeft = 650, kRight = 1230, kWords = 1262;

std::vector<std::string> footer(const Pen& pen, const CompareView& view) {
    std::vector<std::string> lines;
    pen.wrap(
        "Difference, after minus before, with its 95 % interval; the line is no change, and every row has its own "
        "scale. Verdicts hold at 5 % over all figures together, and allow for what differs from visit to visit with "
        "nothing mended.",
        lines);
    for (const auto& c : view.cautions) pen.wrap("Caution: " + c, lines);
    for (const auto& n : view.notes) pen.wrap("Note: " + n, lines);
    return lines;
}

void draw_row(const Pen& pen, const CompareRow& r, double y) {
    const auto& c = r.change;
    const auto k = colour_of(finding(c.verdict));
    const bool named = !r.name.empty();
    pen.text(kMargin, named ? y - 3 : y + 8, pen.fitted(r.figure, kNumbers - kMargin - 100, kTextSize, true), kTextSize,
             kInk, Align::left, true);
    if (named)
        pen.text(kMargin, y + 20, pen.fitted(r.name, kNumbers - kMargin - 100, kSmallSize), kSmallSize, kFaintInk);
    pen.text(kNumbers, y + 8, figure_text(r.before, r.unit), kTextSize, kInk, Align::right);
    pen.text(kNumbers + 100, y + 8, figure_text(r.after, r.unit), kTextSize, kInk, Align::right);
    pen.text(kNumbers + 116, y + 8, r.unit, kSmallSize, kFaintInk);
    const double middle = 0.5 * (kLeft + kRight);
    if (std::isfinite(c.difference)) {
        const double most = std::max(std::fabs(c.low), std::fabs(c.high));
        const Axis x{-most, most, kLeft + 20, kRight - 20};
        if (most > 0.0) {
            pen.line(x.at(c.low), y, x.at(c.high), y, k, 4.0);
            for (const double end : {c.low, c.high}) pen.line(x.at(end), y - 9, x.at(end), y + 9, k, 4.0);
            pen.box(x.at(c.difference) - 6, y - 12, 12, 24, k);
        }
        pen.text(kWidth - kMargin, y + 8, figure_text(c.difference, r.unit, true), kTextSize, kInk, Align::right);
    } else {
        pen.text(middle, y + 8, "not known", kSmallSize, kFaintInk, Align::middle);
    }
    pen.sign(kWords + 10, y, 10, finding(c.verdict), k);
    pen.text(kWords + 34, y + 7, word(c.verdict), kSmallSize, k, Align::left, true);
}

void draw(const Pen& pen, const CompareView& view, double height) {
    pen.box(0, 0, kWidth, height, kPaper);
    pen.text(kMargin, 68, pen.fitted(headline(view), kWidth - 2 * kMargin, kTitleSize, true), kTitleSize, kInk,
             Align::left, true);
    pen.text(kMargin, 110,
             pen.fitted(fmt::format("{}before: {} · after: {}", view.engine.empty() ? "" : view.engine + " · ",
                                    view.before, view.after),
                        kWidth - 2 * kMargin, kTextSize),
             kTextSize, kFaintInk);
    const double bottom = kTop + kRow * static_cast<double>(view.rows.size());
    pen.box(kLeft, kTop, kRight - kLeft, bottom - kTop, kPanel);
    const double middle = 0.5 * (kLeft + kRight);
    pen.text(kNumbers, kTop - 20, "before", kTextSize, kInk, Align::right, true);
    pen.text(kNumbers + 100, kTop - 20, "after", kTextSize, kInk, Align::right, true);
    pen.text(kLeft + 20, kTop - 20, "less", kSmallSize, kFaintInk);
    pen.text(kRight - 20, kTop - 20, "more", kSmallSize, kFaintInk, Align::right);
    pen.text(middle, kTop - 20, "no change", kSmallSize, kInk, Align::middle, true);
    pen.text(kWidth - kMargin, kTop - 20, "difference", kSmallSize, kInk, Align::right, true);
    for (std::size_t i = 1; i < view.rows.size(); ++i)
        pen.line(kMargin, kTop + kRow * static_cast<double>(i), kWidth - kMargin, kTop + kRow * static_cast<double>(i),
                 kGrid, 1.0);
    pen.line(middle, kTop - 6, middle, bottom, kInk, 2.5);
    for (std::size_t i = 0; i < view.rows.size(); ++i)
        draw_row(pen, view.rows[i], kTop + kRow * (static_cast<double>(i) + 0.5));
    double line = bottom + 50;
    for (const auto& text : footer(pen, view)) {
        pen.text(kMargin, line, text, kSmallSize, kFaintInk);
        line += kLine;
    }
}

double page_height(const Pen& pen, const CompareView& view) {
    return kTop + kRow * static_cast<double>(view.rows.size()) + 50 +
           kLine * static_cast<double>(footer(pen, view).size()) + 10;
}

}  // namespace

Result<Done> draw_compare(const CompareView& view, const std::string& path) {
    return write_page(
        path, [&](const Pen& pen) { return page_height(pen, view); },
        [&](const Pen& pen, double h) { draw(pen, view, h); });
}

std::string compare_svg(const CompareView& view, std::string_view prefix) {
    return inline_page(
        prefix, "Before and after, figure by figure: " + headline(view),
        [&](const Pen& pen) { return page_height(pen, view); }, [&](const Pen& pen, double h) { draw(pen, view, h); });
}

}  // namespace idlehark
