#include "src/report/balance_picture.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kTop = 190, kHeight = 430;  // of the strip
constexpr double kLeft = 110;
constexpr double kWords = 150;  // under the strip

std::vector<std::string> footer(const Pen& pen, const BalanceView& view) {
    std::vector<std::string> lines;
    pen.wrap(
        "Bars: strength heard of each firing against the middle of the others, with its 95 % interval, along the "
        "crank. The shaded band is what an even engine may show.",
        lines);
    for (const auto& c : view.cautions) pen.wrap("Caution: " + c, lines);
    for (const auto& n : view.notes) pen.wrap("Note: " + n, lines);
    return lines;
}

void draw(const Pen& pen, const BalanceView& view, double height) {
    const auto& b = view.balance;
    pen.box(0, 0, kWidth, height, kPaper);
    pen.text(kMargin, 68, pen.fitted(view.headline, kWidth - 2 * kMargin, kTitleSize, true), kTitleSize, kInk,
             Align::left, true);
    std::string facts = view.engine.empty() ? view.recording : view.engine + " · " + view.recording;
    facts += fmt::format(" · {:.0f} rpm · {} cycles", b.rpm, b.cycles);
    if (std::isfinite(b.half_order_share))
        facts += fmt::format(" · half orders {:.1f} % of the lines", 100.0 * b.half_order_share);
    pen.text(kMargin, 110, pen.fitted(facts, kWidth - 2 * kMargin, kTextSize), kTextSize, kFaintInk);

    double most = 1.4;
    for (const auto& r : view.rows)
        if (std::isfinite(r.figures.strength_high))
            most = std::max(most, std::min(2.5, 1.05 * r.figures.strength_high));
    const double right = kWidth - kMargin;
    const Axis y{0.0, most, kTop + kHeight, kTop};
    pen.box(kLeft, kTop, right - kLeft, kHeight, kPanel);
    pen.box(kLeft, y.at(1.25), right - kLeft, y.at(0.75) - y.at(1.25), kBand);
    for (const double v : y.ticks(6)) {
        pen.line(kLeft, y.at(v), right, y.at(v), kGrid, 1.0);
        pen.text(kLeft - 12, y.at(v) + 7, fmt::format("{:.1f}", v), kSmallSize, kInk, Align::right);
    }
    pen.line(kLeft, y.at(1.0), right, y.at(1.0), kFaintInk, 1.5);
    pen.text(kMargin - 10, kTop - 16, "strength", kSmallSize, kFaintInk);

    const double n = static_cast<double>(view.rows.size());
    const double room = (right - kLeft) / n;
    const double last = view.rows.empty() ? 0.0 : view.rows.back().figures.angle_deg;
    const double spread = last > 0.0 ? (right - kLeft - room) / last : 0.0;
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        const auto k = colour_of(finding(f.verdict));
        const double x = kLeft + 0.5 * room + spread * f.angle_deg;
        if (std::isfinite(f.strength)) {
            const double w = 0.42 * std::min(room, 180.0);
            const double top = y.at(std::min(f.strength, most));
            pen.box(x - w / 2, top, w, y.at(0) - top, k, 0.55);
            const double low = y.at(std::clamp(f.strength_low, 0.0, most));
            const double high = y.at(std::clamp(f.strength_high, 0.0, most));
            pen.line(x, low, x, high, kInk, 3.0);
            pen.line(x - 9, low, x + 9, low, kInk, 3.0);
            pen.line(x - 9, high, x + 9, high, kInk, 3.0);
        }
        double base = kTop + kHeight + 34;
        const double size = room > 150 ? kTextSize : kSmallSize;
        pen.text(x, base, fmt::format("{}  {:.0f}°", r.name, f.angle_deg), size, kInk, Align::middle, true);
        base += 32;
        pen.sign(x, base - 8, 11, finding(f.verdict), k);
        base += 32;
        pen.text(x, base, pen.fitted(word(f.verdict), room - 4, kSmallSize, true), kSmallSize, k, Align::middle, true);
        base += 28;
        if (std::isfinite(f.misfire_percent))
            pen.text(x, base, pen.fitted(fmt::format("{:.1f} % missing", f.misfire_percent), room - 4, kSmallSize),
                     kSmallSize, kFaintInk, Align::middle);
    }
    double line = kTop + kHeight + kWords + 40;
    for (const auto& text : footer(pen, view)) {
        pen.text(kMargin, line, text, kSmallSize, kFaintInk);
        line += kLine;
    }
}

}  // namespace

Result<Done> draw_balance(const BalanceView& view, const std::string& path) {
    const auto height = [&](const Pen& pen) {
        return kTop + kHeight + kWords + 40 + kLine * static_cast<double>(footer(pen, view).size()) + 20;
    };
    return write_page(path, height, [&](const Pen& pen, double h) { draw(pen, view, h); });
}

}  // namespace idlehark
