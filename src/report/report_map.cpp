#include "src/report/report_map.hpp"

#include "src/report/page.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kTop = 96, kKey = 92, kEdge = 90;
constexpr double kTallest = 820;
constexpr double kTallestPhoto = 1500;

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

/// What of the bay is shown, on a panel as wide as the page.
struct Frame {
    double x_mm, y_mm, wide_mm, scale, edge_px, height_px;

    [[nodiscard]] double x(double at_mm) const {
        return kMargin + 0.5 * (kWidth - 2 * kMargin - wide_mm * scale) + (at_mm - x_mm) * scale;
    }
    [[nodiscard]] double y(double at_mm) const { return kTop + edge_px + (at_mm - y_mm) * scale; }
};

double photo_height_mm(const CaseReport& report) {
    return report.map->picture_width_mm * report.map_photo->height_px / report.map_photo->width_px;
}

Frame frame_of(const CaseReport& report) {
    double x0 = 1e300, x1 = -1e300, y0 = 1e300, y1 = -1e300;
    const auto take_in = [&](double x, double y) {
        x0 = std::min(x0, x), x1 = std::max(x1, x);
        y0 = std::min(y0, y), y1 = std::max(y1, y);
    };
    for (const auto& s : report.map->spots) take_in(s.x_mm, s.y_mm);
    bool beyond = true;  // of the photo
    if (report.map_photo) {
        const double wide = report.map->picture_width_mm, high = photo_height_mm(report);
        beyond = x0 < 0.0 || y0 < 0.0 || x1 > wide || y1 > high;
        take_in(0.0, 0.0);
        take_in(wide, high);
    }
    const double edge = beyond ? kEdge : 0.0;
    const double wide = std::max(x1 - x0, 100.0), high = std::max(y1 - y0, 100.0);
    const double tallest = report.map_photo ? kTallestPhoto : kTallest;
    const double scale = std::min((kWidth - 2 * kMargin - 2 * edge) / wide, (tallest - 2 * edge) / high);
    return {x0, y0, x1 - x0, scale, edge, high * scale + 2 * edge};
}

void draw(const Pen& pen, const CaseReport& report, const Frame& f, double height) {
    const auto& map = *report.map;
    pen.box(0, 0, kWidth, height, kPaper);
    pen.text(kMargin, 56,
             pen.fitted(map.name.empty() ? "Map of the spots" : map.name, kWidth - 2 * kMargin, kTextSize, true),
             kTextSize, kInk, Align::left, true);
    pen.box(kMargin, kTop, kWidth - 2 * kMargin, f.height_px, kPanel);
    if (report.map_photo)
        pen.photo(*report.map_photo, f.x(0.0), f.y(0.0), map.picture_width_mm * f.scale,
                  photo_height_mm(report) * f.scale);
    for (const auto& s : map.spots) {
        const double x = f.x(s.x_mm), y = f.y(s.y_mm);
        const auto look = finding_of(report, s.spot);
        const auto name = pen.fitted(s.spot, 120, 28, true);
        if (report.map_photo) {  // on a plate: it is to be read on whatever the photo shows
            pen.box(x - 24, y - 23, 58 + pen.width_of(name, 28, true), 46, kPanel, 0.88);
            pen.text(x + 25, y + 10, name, 28, kInk, Align::left, true);
        } else {
            pen.text(x, y - 28, name, 28, kInk, Align::middle, true);
        }
        pen.sign(x, y, 16, look, colour_of(look));
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
    const auto frame = frame_of(report);
    return inline_page(
        prefix, "Map of the spots with the last verdict on each",
        [&](const Pen&) { return kTop + frame.height_px + kKey; },
        [&](const Pen& pen, double height) { draw(pen, report, frame, height); });
}

}  // namespace idlehark
