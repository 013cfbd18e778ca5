#include "src/report/verdict_picture.hpp"

#include "dsp/plan/planner.hpp"
#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>
#include <vector>

#include <cairo.h>
#include <fmt/format.h>

namespace idlehark {

namespace {

// Lengths in pixels.
constexpr double kHeader = 138;
constexpr double kTraceHeight = 300;
constexpr double kTraceLeft = 130;
constexpr double kRowsHead = 92;  // axis title and tick labels above the rows
constexpr double kRow = 54;
constexpr double kAxisLeft = 540;
constexpr double kAxisRight = 1120;
constexpr double kVerdictLeft = 1156;

/// Time ticks fall on round seconds or minutes.
std::vector<double> time_ticks(double length_s) {
    double step = 7200;
    for (const double s : {1800.0, 600.0, 300.0, 120.0, 60.0, 30.0, 10.0, 5.0, 1.0})
        if (length_s / s <= 13) step = s;
    constexpr double kLongest_s = 100 * 3600;  // no recording: somebody's spoilt figures
    std::vector<double> list;
    if (!(length_s <= kLongest_s)) return list;
    for (double t = 0; t <= length_s; t += step) list.push_back(t);
    return list;
}

std::string minutes(double t) {
    const int s = static_cast<int>(std::lround(t));
    return fmt::format("{}:{:02}", s / 60, s % 60);
}

SprayVerdict verdict_of(const VerdictView& view, const std::string& spot) {
    const auto it =
        std::find_if(view.spots.begin(), view.spots.end(), [&](const SpotRow& s) { return s.spot == spot; });
    return it == view.spots.end() ? SprayVerdict::undecided : it->verdict;
}

void draw_header(const Pen& pen, const VerdictView& view) {
    const double room = kWidth - 2 * kMargin;
    auto title = headline(view, true);
    if (pen.width_of(title, kTitleSize, true) > room) title = headline(view, false);
    pen.text(kMargin, 68, pen.fitted(title, room, kTitleSize, true), kTitleSize, kInk, Align::left, true);
    std::string facts = view.engine.empty() ? view.recording : view.engine + " · " + view.recording;
    if (std::isfinite(view.idle_rpm)) facts += fmt::format(" · idle {:.0f} rpm", view.idle_rpm);
    if (std::isfinite(view.hunting_rpm)) facts += fmt::format(" · hunts by {:.0f} rpm", view.hunting_rpm);
    if (std::isfinite(view.smallest_provable_rpm))
        facts += fmt::format(" · smallest change this test can prove: {:.0f} rpm", view.smallest_provable_rpm);
    pen.text(kMargin, 110, pen.fitted(facts, kWidth - 2 * kMargin, kTextSize), kTextSize, kFaintInk);
}

void draw_trace(const Pen& pen, const VerdictView& view, double top) {
    const double left = kTraceLeft;
    const double right = kWidth - kMargin;
    const double bottom = top + kTraceHeight;
    pen.box(left, top, right - left, kTraceHeight, kPanel);

    std::vector<double> speeds;
    double end_s = 1.0;
    for (const auto& p : view.speed) {
        end_s = std::max(end_s, p.time_s);
        if (std::isfinite(p.rpm)) speeds.push_back(p.rpm);
    }
    for (const auto& b : view.bursts) end_s = std::max(end_s, b.time_s);
    if (speeds.empty()) {
        pen.text((left + right) / 2, (top + bottom) / 2, "no speed could be followed", kTextSize, kFaintInk,
                 Align::middle);
        return;
    }
    // A few stray readings must not squeeze the rest: the axis spans the middle 99.8 % and some air.
    std::sort(speeds.begin(), speeds.end());
    const auto quantile = [&](double q) {
        return speeds[static_cast<std::size_t>(q * static_cast<double>(speeds.size() - 1))];
    };
    const double spread = std::max(quantile(0.999) - quantile(0.001), 10.0);
    const Axis y{quantile(0.001) - 0.08 * spread, quantile(0.999) + 0.30 * spread, bottom, top};
    const Axis x{0.0, end_s, left, right};

    for (const double v : y.ticks(5)) {
        pen.line(left, y.at(v), right, y.at(v), kGrid, 1.0);
        pen.text(left - 12, y.at(v) + 7, fmt::format("{:.0f}", v), kSmallSize, kInk, Align::right);
    }
    pen.text(kMargin - 10, top - 14, "rpm", kSmallSize, kFaintInk);
    for (const double t : time_ticks(end_s)) {
        pen.line(x.at(t), bottom, x.at(t), bottom + 8, kFaintInk, 1.5);
        pen.text(x.at(t), bottom + 30, minutes(t), kSmallSize, kInk, Align::middle);
    }

    double free_from = -1e9;  // labels that would touch the one before are left out; the line stays
    for (const auto& b : view.bursts) {
        const auto verdict = verdict_of(view, b.spot);
        const bool leak = verdict == SprayVerdict::leak;
        const double px = x.at(b.time_s);
        pen.line(px, top + 34, px, bottom, leak ? colour_of(finding(verdict)) : kGrid, leak ? 2.5 : 1.5);
        const double half = pen.width_of(b.spot, kSmallSize, leak) / 2;
        if (!leak && px - half < free_from) continue;
        pen.text(px, top + 26, b.spot, kSmallSize, leak ? colour_of(finding(verdict)) : kFaintInk, Align::middle, leak);
        free_from = px + half + 5;
    }

    cairo_t* c = pen.raw();
    cairo_save(c);
    cairo_rectangle(c, left, top, right - left, kTraceHeight);
    cairo_clip(c);
    pen.colour(kTrace);
    cairo_set_line_width(c, 2.0);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    bool drawing = false;
    for (const auto& p : view.speed) {
        if (std::isfinite(p.rpm) && drawing) cairo_line_to(c, x.at(p.time_s), y.at(p.rpm));
        if (std::isfinite(p.rpm) && !drawing) cairo_move_to(c, x.at(p.time_s), y.at(p.rpm));
        drawing = std::isfinite(p.rpm);
    }
    cairo_stroke(c);
    cairo_restore(c);
}

Axis change_axis(const VerdictView& view) {
    double reach = std::isfinite(view.matters_rpm) ? 1.25 * view.matters_rpm : 10.0;
    double low = -reach;
    double high = reach;
    // A spot heard once may have an interval as wide as the page: its end is cut rather than the others squeezed.
    for (const auto& s : view.spots) {
        if (!std::isfinite(s.change_rpm)) continue;
        reach = std::max(reach, 1.4 * std::fabs(s.change_rpm));
    }
    for (const auto& s : view.spots) {
        if (std::isfinite(s.low_rpm)) low = std::min(low, std::max(s.low_rpm, -2.0 * reach));
        if (std::isfinite(s.high_rpm)) high = std::max(high, std::min(s.high_rpm, 2.0 * reach));
    }
    const double air = 0.05 * (high - low);
    return {low - air, high + air, kAxisLeft, kAxisRight};
}

void draw_rows(const Pen& pen, const VerdictView& view, double top) {
    const auto rows = ranked(view.spots);
    const auto x = change_axis(view);
    const double first = top + kRowsHead;
    const double bottom = first + kRow * static_cast<double>(rows.size());

    pen.text(kMargin, top + 30, "Spot", kTextSize, kInk, Align::left, true);
    pen.text((kAxisLeft + kAxisRight) / 2, top + 30, "Change of idle speed, rpm (95 % interval)", kTextSize, kInk,
             Align::middle, true);
    pen.text(kVerdictLeft, top + 30, "Verdict", kTextSize, kInk, Align::left, true);

    pen.box(kAxisLeft, first, kAxisRight - kAxisLeft, bottom - first, kPanel);
    if (std::isfinite(view.matters_rpm)) {
        const double from = std::max(x.at(-view.matters_rpm), kAxisLeft);
        const double to = std::min(x.at(view.matters_rpm), kAxisRight);
        pen.box(from, first, to - from, bottom - first, kBand);
    }
    for (const double v : x.ticks(6)) {
        pen.line(x.at(v), first, x.at(v), bottom, kGrid, 1.0);
        pen.text(x.at(v), first - 12, signed_rpm(v), kSmallSize, kInk, Align::middle);
    }
    pen.line(x.at(0), first - 4, x.at(0), bottom, kInk, 2.5);

    for (std::size_t i = 0; i < rows.size(); ++i) {
        const auto& s = rows[i];
        const double y = first + kRow * (static_cast<double>(i) + 0.5);
        const auto colour = colour_of(finding(s.verdict));
        const bool leak = s.verdict == SprayVerdict::leak;
        if (i > 0) pen.line(kMargin, y - kRow / 2, kWidth - kMargin, y - kRow / 2, kGrid, 1.0);

        const double number = std::max(pen.width_of(s.spot, kTextSize, true), 34.0);
        pen.text(kMargin, y + 8, pen.fitted(s.spot, 150, kTextSize, true), kTextSize, kInk, Align::left, true);
        const double name_at = kMargin + std::min(number, 150.0) + 22;
        pen.text(name_at, y + 8, pen.fitted(s.name, kAxisLeft - 20 - name_at, kTextSize), kTextSize, kInk);

        if (std::isfinite(s.low_rpm) && std::isfinite(s.high_rpm) && std::isfinite(s.change_rpm)) {
            const auto inside = [](double px) { return std::clamp(px, kAxisLeft, kAxisRight); };
            const double from = inside(x.at(s.low_rpm));
            const double to = inside(x.at(s.high_rpm));
            pen.line(from, y, to, y, colour, leak ? 6.0 : 4.0);
            if (x.at(s.low_rpm) >= kAxisLeft) pen.line(from, y - 9, from, y + 9, colour, 3.0);
            if (x.at(s.high_rpm) <= kAxisRight) pen.line(to, y - 9, to, y + 9, colour, 3.0);
            pen.line(inside(x.at(s.change_rpm)), y - 14, inside(x.at(s.change_rpm)), y + 14, colour, 6.0);
        } else if (!s.not_sprayed()) {
            pen.text(x.at(0) + 10, y + 7, "no figure", kSmallSize, kFaintInk);
        }

        if (!s.not_sprayed()) pen.sign(kVerdictLeft + 14, y, 12, finding(s.verdict), colour);
        pen.text(kVerdictLeft + 42, y + 8, word(s), kTextSize, colour, Align::left, true);
        if (std::isfinite(s.change_rpm))
            pen.text(
                kWidth - kMargin, y + 8,
                fmt::format("{} ({} to {})", signed_rpm(s.change_rpm), signed_rpm(s.low_rpm), signed_rpm(s.high_rpm)),
                kSmallSize, kInk, Align::right);
    }
}

/// The lines under the rows: what the shaded band is, cautions, and what comes first.
std::vector<std::string> footer_lines(const Pen& pen, const VerdictView& view) {
    std::vector<std::string> lines;
    const auto add = [&](const std::string& text) { pen.wrap(text, lines); };
    if (std::isfinite(view.matters_rpm))
        add(fmt::format("Shaded: changes under {:.0f} rpm. \"none seen\" is said only where {}.", view.matters_rpm,
                        view.guided ? fmt::format("all that was looked at left a larger one a chance under {:.2g} %",
                                                  100.0 * plan::none_risk({}, view.spots.size()))
                                    : "the whole interval lies there"));
    for (const auto& c : view.cautions) add("Caution: " + c);
    add("Sprays burn: local rules, the can's label, the car's handbook and a licensed technician come before this "
        "picture.");
    return lines;
}

double page_height(const VerdictView& view, std::size_t footer) {
    return kHeader + 40 + kTraceHeight + 60 + kRowsHead + kRow * static_cast<double>(view.spots.size()) + 40 +
           kLine * static_cast<double>(footer) + 20;
}

void draw_page(const Pen& pen, const VerdictView& view, const std::vector<std::string>& footer, double height) {
    pen.box(0, 0, kWidth, height, kPaper);
    draw_header(pen, view);
    const double trace = kHeader + 40;
    draw_trace(pen, view, trace);
    const double rows = trace + kTraceHeight + 60;
    draw_rows(pen, view, rows);
    double y = rows + kRowsHead + kRow * static_cast<double>(view.spots.size()) + 52;
    for (const auto& line : footer) {
        pen.text(kMargin, y, line, kSmallSize, kFaintInk);
        y += kLine;
    }
}

}  // namespace

Result<Done> draw_verdict(const VerdictView& view, const std::string& path) {
    std::vector<std::string> footer;
    return write_page(
        path,
        [&](const Pen& pen) {
            footer = footer_lines(pen, view);
            return page_height(view, footer.size());
        },
        [&](const Pen& pen, double height) { draw_page(pen, view, footer, height); });
}

std::string verdict_svg(const VerdictView& view, std::string_view prefix) {
    std::vector<std::string> footer;
    return inline_page(
        prefix, "Idle speed over time with every burst, and the change of speed at every spot: " + headline(view, true),
        [&](const Pen& pen) {
            footer = footer_lines(pen, view);
            return page_height(view, footer.size());
        },
        [&](const Pen& pen, double height) { draw_page(pen, view, footer, height); });
}

}  // namespace idlehark
