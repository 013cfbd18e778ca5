#include "src/report/hiss_picture.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kTop = 200, kRow = 64;
constexpr double kLeft = 330, kRight = 1180, kWords = 1220;

std::vector<std::string> footer(const Pen& pen, const HissView& view) {
    std::vector<std::string> lines;
    pen.wrap(
        "Thick: level in the leak band over the middle of the sound ones among the other spots. Thin: the part that "
        "swells with the firing. Both with 95 % intervals: what sound spots differ by is in them. A spot stands out "
        "only if both do, over all spots at 5 %.",
        lines);
    for (const auto& c : view.cautions) pen.wrap("Caution: " + c, lines);
    for (const auto& n : view.notes) pen.wrap("Note: " + n, lines);
    return lines;
}

void draw(const Pen& pen, const HissView& view, double height) {
    pen.box(0, 0, kWidth, height, kPaper);
    pen.text(kMargin, 68, pen.fitted(view.headline, kWidth - 2 * kMargin, kTitleSize, true), kTitleSize, kInk,
             Align::left, true);
    pen.text(
        kMargin, 110,
        pen.fitted(fmt::format("{}{} spots · gains {}", view.engine.empty() ? "" : view.engine + " · ",
                               view.rows.size(), view.declared ? "as declared" : "compared by the engine's own lines"),
                   kWidth - 2 * kMargin, kTextSize),
        kTextSize, kFaintInk);
    double low = -6.0, high = 12.0;
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        for (const double v : {f.level_db, f.follow_db})
            if (std::isfinite(v)) low = std::min(low, v - 3.0), high = std::max(high, v + 4.0);
    }
    const Axis x{low, high, kLeft, kRight};
    const double bottom = kTop + kRow * static_cast<double>(view.rows.size());
    pen.box(kLeft, kTop, kRight - kLeft, bottom - kTop, kPanel);
    pen.text((kLeft + kRight) / 2, kTop - 44, "dB over the survey's floor", kTextSize, kInk, Align::middle, true);
    for (const double v : x.ticks(8)) {
        pen.line(x.at(v), kTop, x.at(v), bottom, kGrid, 1.0);
        pen.text(x.at(v), kTop - 12, fmt::format("{:+.0f}", v), kSmallSize, kInk, Align::middle);
    }
    pen.line(x.at(0.0), kTop - 4, x.at(0.0), bottom, kInk, 2.5);
    const auto bar = [&](double y, double h, double value, double from, double to, Colour k, double alpha) {
        if (!std::isfinite(value)) return;
        const auto inside = [&](double v) { return std::clamp(x.at(v), kLeft, kRight); };
        pen.box(std::min(inside(0.0), inside(value)), y - h / 2, std::fabs(inside(value) - inside(0.0)), h, k, alpha);
        if (!std::isfinite(from)) return;
        pen.line(inside(from), y, inside(to), y, kInk, 2.5);
        pen.line(inside(from), y - 7, inside(from), y + 7, kInk, 2.5);
        pen.line(inside(to), y - 7, inside(to), y + 7, kInk, 2.5);
    };
    for (std::size_t i = 0; i < view.rows.size(); ++i) {
        const auto& r = view.rows[i];
        const auto& f = r.figures;
        const double y = kTop + kRow * (static_cast<double>(i) + 0.5);
        const auto k = colour_of(finding(f.verdict));
        pen.text(kMargin, y + 8, pen.fitted(r.spot, kLeft - kMargin - 20, kTextSize, true), kTextSize, kInk,
                 Align::left, true);
        bar(y - 9, 22, f.level_db, f.level_low_db, f.level_high_db, k, 0.6);
        bar(y + 17, 9, f.follow_db, f.follow_low_db, f.follow_high_db, k, 0.35);
        pen.sign(kWords + 12, y, 11, finding(f.verdict), k);
        pen.text(kWords + 38, y + 8, word(f.verdict), kTextSize, k, Align::left, true);
    }
    double line = bottom + 56;
    for (const auto& text : footer(pen, view)) {
        pen.text(kMargin, line, text, kSmallSize, kFaintInk);
        line += kLine;
    }
}

}  // namespace

Result<Done> draw_hiss(const HissView& view, const std::string& path) {
    const auto height = [&](const Pen& pen) {
        return kTop + kRow * static_cast<double>(view.rows.size()) + 56 +
               kLine * static_cast<double>(footer(pen, view).size()) + 10;
    };
    return write_page(path, height, [&](const Pen& pen, double h) { draw(pen, view, h); });
}

}  // namespace idlehark
