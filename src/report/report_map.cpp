#include "src/report/report_map.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kTop = 96, kKey = 92, kEdge = 90;
constexpr double kTallest = 820;

struct Look {
    Finding finding;
    const char* words;
};
constexpr Look kLooks[] = {{Finding::fault, "leak"},
                           {Finding::shadowed, "overspray"},
                           {Finding::clear, "none seen"},
                           {Finding::open, "undecided, or not sprayed"}};

/// What the last spray test of this spot came to.
Finding finding_of(const CaseReport& report, const std::string& spot) {
    auto last = Finding::open;
    for (const auto& v : report.visits)
        for (const auto& view : v.sprays)
            for (const auto& row : view.spots)
                if (row.spot == spot && row.bursts > 0) last = finding(row.verdict);
    return last;
}

struct Frame {
    double x_mm, y_mm, scale, width_px, height_px;
};

Frame frame_of(const BayMap& map) {
    double x0 = 1e300, x1 = -1e300, y0 = 1e300, y1 = -1e300;
    for (const auto& s : map.spots) {
        x0 = std::min(x0, s.x_mm), x1 = std::max(x1, s.x_mm);
        y0 = std::min(y0, s.y_mm), y1 = std::max(y1, s.y_mm);
    }
    const double wide = std::max(x1 - x0, 100.0), high = std::max(y1 - y0, 100.0);
    const double scale = std::min((kWidth - 2 * kMargin - 2 * kEdge) / wide, (kTallest - 2 * kEdge) / high);
    return {x0, y0, scale, kWidth - 2 * kMargin, high * scale + 2 * kEdge};
}

void draw(const Pen& pen, const CaseReport& report, const Frame& f, double height) {
    const auto& map = *report.map;
    pen.box(0, 0, kWidth, height, kPaper);
    pen.text(kMargin, 56,
             pen.fitted(map.name.empty() ? "Map of the spots" : map.name, kWidth - 2 * kMargin, kTextSize, true),
             kTextSize, kInk, Align::left, true);
    pen.box(kMargin, kTop, f.width_px, f.height_px, kPanel);
    double widest_mm = 0.0;
    for (const auto& s : map.spots) widest_mm = std::max(widest_mm, s.x_mm - f.x_mm);
    const double left = kMargin + 0.5 * (f.width_px - widest_mm * f.scale);
    for (const auto& s : map.spots) {
        const double x = left + (s.x_mm - f.x_mm) * f.scale, y = kTop + kEdge + (s.y_mm - f.y_mm) * f.scale;
        const auto look = finding_of(report, s.spot);
        pen.sign(x, y, 16, look, colour_of(look));
        pen.text(x, y - 28, pen.fitted(s.spot, 120, 28, true), 28, kInk, Align::middle, true);
    }
    double x = kMargin + 14;
    const double y = kTop + f.height_px + 48;
    for (const auto& look : kLooks) {
        pen.sign(x, y - 7, 12, look.finding, colour_of(look.finding));
        pen.text(x + 28, y, look.words, kSmallSize, kInk);
        x += 70 + pen.width_of(look.words, kSmallSize);
    }
    pen.text(kWidth - kMargin, y, "10 cm", kSmallSize, kFaintInk, Align::right);
    const double bar = 100.0 * f.scale, end = kWidth - kMargin - pen.width_of("10 cm", kSmallSize) - 16;
    pen.line(end - bar, y - 6, end, y - 6, kFaintInk, 3.0);
}

}  // namespace

std::string map_svg(const CaseReport& report, std::string_view prefix) {
    if (!report.map || report.map->spots.empty()) return {};
    const auto frame = frame_of(*report.map);
    return inline_page(
        prefix, "Map of the spots with the last verdict on each",
        [&](const Pen&) { return kTop + frame.height_px + kKey; },
        [&](const Pen& pen, double height) { draw(pen, report, frame, height); });
}

}  // namespace idlehark
