#include "src/report/injector_picture.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>

#include <cairo.h>
#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kHead = 190;
constexpr double kRow = 190;
constexpr double kPlot = 130;  // height of a row's plots
constexpr double kFoldLeft = 130, kFoldRight = 800;
constexpr double kPairLeft = 850, kPairRight = 1160;
constexpr double kWordsLeft = 1196;
constexpr double kPairFrom_ms = -6.0, kPairTo_ms = 10.0;  // about the opening click
constexpr double kLow_db = -2.0;
constexpr double kLeastHigh_db = 12.0;

double decibels(double ratio) { return 10.0 * std::log10(std::max(ratio, 1e-3)); }

void trace(const Pen& pen, const std::vector<double>& x, const std::vector<double>& y, Colour k) {
    cairo_t* c = pen.raw();
    pen.colour(k);
    cairo_set_line_width(c, 2.0);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    cairo_new_path(c);
    for (std::size_t i = 0; i < x.size(); ++i) cairo_line_to(c, x[i], y[i]);
    cairo_stroke(c);
}

void draw_row(const Pen& pen, const InjectorRow& row, double cycle_deg, double high_db, double top) {
    const auto& r = row.reading;
    const auto& probe = row.probe;
    const auto k = colour_of(finding(r.verdict));
    const Axis y{kLow_db, high_db, top + kPlot, top};
    const auto level = [&](double ratio) { return y.at(std::clamp(decibels(ratio), kLow_db, high_db)); };
    pen.text(kMargin, top + kPlot / 2 + 12, std::to_string(r.cylinder), kTitleSize, kInk, Align::left, true);

    for (const auto& [left, right] : {std::pair{kFoldLeft, kFoldRight}, std::pair{kPairLeft, kPairRight}}) {
        pen.box(left, top, right - left, kPlot, kPanel);
        for (const double v : y.ticks(3)) pen.line(left, y.at(v), right, y.at(v), kGrid, 1.0);
    }
    for (const double v : y.ticks(3))
        pen.text(kFoldLeft - 10, y.at(v) + 6, fmt::format("{:.0f}", v + 0.0), kSmallSize, kFaintInk, Align::right);

    std::vector<double> xs;
    std::vector<double> ys;
    const Axis angle{-0.25 * cycle_deg, 0.75 * cycle_deg, kFoldLeft, kFoldRight};
    for (std::size_t i = 0; i < probe.fold.size(); ++i) {
        xs.push_back(
            std::lerp(kFoldLeft, kFoldRight, (static_cast<double>(i) + 0.5) / static_cast<double>(probe.fold.size())));
        ys.push_back(level(probe.fold[i]));
    }
    trace(pen, xs, ys, kTrace);
    for (const double a : angle.ticks(8))
        pen.text(angle.at(a), top + kPlot + 24, fmt::format("{:.0f}", a), kSmallSize, kFaintInk, Align::middle);

    xs.clear();
    ys.clear();
    // A silent one has no pair of its own: what is drawn then are a neighbour's clicks, if anything.
    const bool own = r.verdict != InjectorVerdict::silent;
    const double zero_ms = own && std::isfinite(probe.open_at_ms) ? probe.open_at_ms : 0.0;
    const Axis time{kPairFrom_ms, kPairTo_ms, kPairLeft, kPairRight};
    const auto mark = [&](double at_ms, std::string_view name) {
        const double x = time.at(at_ms - zero_ms);
        if (!own || !std::isfinite(at_ms) || x > kPairRight) return;
        pen.line(x, top, x, top + kPlot, kGrid, 2.0);
        pen.text(x + 4, top + 18, name, kSmallSize, kFaintInk);
    };
    mark(probe.open_at_ms, "o");
    mark(probe.close_at_ms, "c");
    for (std::size_t i = 0; i < probe.pair.size(); ++i) {
        const double ms = probe.pair_from_ms + static_cast<double>(i) * probe.pair_step_ms - zero_ms;
        if (ms < kPairFrom_ms || ms > kPairTo_ms) continue;
        xs.push_back(time.at(ms));
        ys.push_back(level(probe.pair[i]));
    }
    trace(pen, xs, ys, own ? kTrace : kFaintInk);
    if (!own) pen.text((kPairLeft + kPairRight) / 2, top + 24, "none of its own", kSmallSize, kFaintInk, Align::middle);
    for (const double ms : time.ticks(4))
        pen.text(time.at(ms), top + kPlot + 24, fmt::format("{:.0f}", ms), kSmallSize, kFaintInk, Align::middle);

    pen.sign(kWordsLeft + 14, top + 18, 12, finding(r.verdict), k);
    pen.text(kWordsLeft + 42, top + 26, word(r.verdict), kTextSize, k, Align::left, true);
    double line = top + 58;
    const auto say = [&](const std::string& text) {
        pen.text(kWordsLeft, line, pen.fitted(text, kWidth - kMargin - kWordsLeft, kSmallSize), kSmallSize, kInk);
        line += 27;
    };
    if (const auto why = reasons(r); !why.empty()) say(why);
    if (std::isfinite(r.expected_hz)) say(fmt::format("{:.2f} clicks/s, expected {:.2f}", r.rate_hz, r.expected_hz));
    if (r.verdict == InjectorVerdict::silent) return;
    say(fmt::format("missed {:.1f} % ({:.1f} to {:.1f})", r.missed_percent, r.missed_low_percent,
                    r.missed_high_percent));
    std::string figures;
    if (std::isfinite(r.open_close_ms)) figures += fmt::format("open {:.2f} ms  ", r.open_close_ms);
    if (std::isfinite(r.jitter_us)) figures += fmt::format("jitter {:.0f} µs  ", r.jitter_us);
    if (std::isfinite(r.level_db)) figures += fmt::format("{:+.1f} dB", r.level_db);
    say(figures);
}

}  // namespace

Result<Done> draw_injectors(const InjectorView& view, const std::string& path) {
    double high_db = kLeastHigh_db;
    for (const auto& row : view.injectors) {
        for (const double v : row.probe.fold) high_db = std::max(high_db, decibels(v) + 2.0);
        for (const double v : row.probe.pair) high_db = std::max(high_db, decibels(v) + 2.0);
    }
    std::vector<std::string> footer;
    const double rows = kHead + kRow * static_cast<double>(view.injectors.size());
    return write_page(
        path,
        [&](const Pen& pen) {
            for (const auto& c : view.cautions) pen.wrap("Caution: " + c, footer);
            for (const auto& n : view.notes) pen.wrap("Note: " + n, footer);
            return rows + 30 + kLine * static_cast<double>(footer.size()) + 20;
        },
        [&](const Pen& pen, double height) {
            pen.box(0, 0, kWidth, height, kPaper);
            pen.text(kMargin, 68, pen.fitted(headline(view), kWidth - 2 * kMargin, kTitleSize, true), kTitleSize, kInk,
                     Align::left, true);
            std::string facts =
                view.engine.empty() ? "injection " + view.scheme : view.engine + " · injection " + view.scheme;
            if (std::isfinite(view.rpm)) facts += fmt::format(" · idle {:.0f} rpm", view.rpm);
            pen.text(kMargin, 110, pen.fitted(facts, kWidth - 2 * kMargin, kTextSize), kTextSize, kFaintInk);
            pen.text((kFoldLeft + kFoldRight) / 2, kHead - 20, "Mean click power over noise, dB, by crank degrees",
                     kTextSize, kInk, Align::middle, true);
            pen.text((kPairLeft + kPairRight) / 2, kHead - 20, "Own pair, ms", kTextSize, kInk, Align::middle, true);
            for (std::size_t i = 0; i < view.injectors.size(); ++i)
                draw_row(pen, view.injectors[i], view.cycle_deg, high_db, kHead + kRow * static_cast<double>(i));
            double y = rows + 30;
            for (const auto& line : footer) {
                pen.text(kMargin, y, line, kSmallSize, kFaintInk);
                y += kLine;
            }
        });
}

}  // namespace idlehark
