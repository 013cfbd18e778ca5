#include "gui/map/draw_map.hpp"

#include "gui/plots/whisker.hpp"

#include <array>

#include <SFML/Graphics/Texture.hpp>

namespace idlehark::gui {

namespace {

struct PartLook {
    Rgb fill;
    double edge;  // width at 100 %; 0: none
};

PartLook look_of(PartKind kind) {
    using namespace palette;
    switch (kind) {
        case PartKind::head:
        case PartKind::flange:
            return {kDarkMetal, 1.5};
        case PartKind::cover:
        case PartKind::plenum:
        case PartKind::runner:
        case PartKind::throttle:
            return {kMetal, 1.5};
        case PartKind::duct:
        case PartKind::hose:
        case PartKind::servo:
            return {kRubber, 0.0};
        case PartKind::rail:
        case PartKind::injector:
            break;
    }
    return {kEdge, 0.0};
}

double shortest_side(const std::vector<Point>& outline) {
    double least = distance(outline.front(), outline.back());
    for (std::size_t i = 0; i + 1 < outline.size(); ++i) least = std::min(least, distance(outline[i], outline[i + 1]));
    return least;
}

/// The same way with its corners bent: each becomes a quadratic curve that leaves the sides `bend` before it.
std::vector<Point> rounded(const std::vector<Point>& way, double bend, bool closed) {
    std::vector<Point> out;
    const auto n = way.size();
    for (std::size_t i = 0; i < n; ++i) {
        if (!closed && (i == 0 || i == n - 1)) {
            out.push_back(way[i]);
            continue;
        }
        const auto before = way[(i + n - 1) % n];
        const auto after = way[(i + 1) % n];
        const double to = distance(way[i], before);
        const double from = distance(way[i], after);
        const auto a = way[i] + (before - way[i]) * (std::min(bend, to / 2.0) / std::max(to, 1e-9));
        const auto b = way[i] + (after - way[i]) * (std::min(bend, from / 2.0) / std::max(from, 1e-9));
        constexpr int kSteps = 6;
        for (int k = 0; k <= kSteps; ++k) {
            const double t = static_cast<double>(k) / kSteps;
            out.push_back(a * ((1 - t) * (1 - t)) + way[i] * (2 * t * (1 - t)) + b * (t * t));
        }
    }
    return out;
}

void draw_part(Canvas& canvas, const Part& part, const MapCamera& camera) {
    const double px_per_mm = camera.px_per_mm();
    const double bend_mm = part.pipe_mm > 0.0 ? 34.0 : std::min(shortest_side(part.outline) * 0.4, 12.0);
    auto px = rounded(part.outline, bend_mm, part.pipe_mm == 0.0);
    for (auto& p : px) p = camera.to_px(p);
    const auto look = look_of(part.kind);
    const double edge = look.edge > 0.0 ? std::max(1.0, canvas.px(look.edge)) : 0.0;
    if (part.pipe_mm > 0.0) {
        const double width = part.pipe_mm * px_per_mm;
        if (edge > 0.0) canvas.polyline(px, width + 2.0 * edge, palette::kEdge);
        canvas.polyline(px, width, look.fill);
        if (part.kind == PartKind::hose || part.kind == PartKind::duct)  // a light along it: round
            canvas.polyline(px, width * 0.16, palette::kShade, false, 0.5);
    } else {
        canvas.polygon(px, look.fill);
        if (edge > 0.0) canvas.polyline(px, edge, palette::kEdge, true);
    }
}

/// Written in the part's middle, where nothing of the spots will cover it.
void name_part(Canvas& canvas, const Part& part, const std::string& name, const MapCamera& camera,
               const MapLayout& layout) {
    if (name.empty() || part.kind == PartKind::injector || part.kind == PartKind::rail) return;
    Point low = camera.to_px(part.outline.front());
    Point high = low;
    for (const auto& p : part.outline) {
        const auto px = camera.to_px(p);
        low = {std::min(low.x, px.x), std::min(low.y, px.y)};
        high = {std::max(high.x, px.x), std::max(high.y, px.y)};
    }
    const double width = canvas.width_of(name, Sizes::kSmallText);
    if (width > std::max(high.x - low.x, part.pipe_mm * camera.px_per_mm())) return;
    const Box words{(low.x + high.x - width) / 2.0, (low.y + high.y) / 2.0 - canvas.px(9.0), width, canvas.px(18.0)};
    for (const auto& p : layout.plates)
        if (shared_area(words, p.box) > 0.0 || (p.label && shared_area(words, *p.label) > 0.0)) return;
    const bool dark = part.kind == PartKind::duct || part.kind == PartKind::servo || part.kind == PartKind::hose;
    canvas.text_middle(
        {(low.x + high.x) / 2.0, (low.y + high.y) / 2.0}, name,
        {.size = Sizes::kSmallText, .colour = dark ? palette::kInk : palette::kFaintInk, .align = Align::middle});
}

void draw_picture(Canvas& canvas, const MapScene& scene, const MapCamera& camera) {
    const auto size = scene.picture->getSize();
    const double px_per_texel = scene.picture_width_mm * camera.px_per_mm() / size.x;
    const auto corner = camera.to_px({0.0, 0.0});
    const auto& area = camera.area();
    const double x0 = std::max(area.x, corner.x);
    const double y0 = std::max(area.y, corner.y);
    const double x1 = std::min(area.right(), corner.x + size.x * px_per_texel);
    const double y1 = std::min(area.bottom(), corner.y + size.y * px_per_texel);
    if (x1 <= x0 || y1 <= y0) return;
    const Box on{x0, y0, x1 - x0, y1 - y0};
    canvas.picture(
        *scene.picture,
        {(x0 - corner.x) / px_per_texel, (y0 - corner.y) / px_per_texel, on.w / px_per_texel, on.h / px_per_texel}, on);
    canvas.box(on, palette::kPaper, 0.25);  // plates and labels must win against the photo
    canvas.flush();
}

FindingColours plate_colours(const SpotMark& s) {
    // Not tested: a plain plate. Undecided differs by its label.
    return s.finding ? colours(*s.finding) : FindingColours{palette::kPanel, palette::kInk};
}

void draw_stem(Canvas& canvas, const MapLayout::Plate& plate) {
    if (plate.box.holds(plate.joint) && distance(plate.box.middle(), plate.joint) < plate.box.h * 0.3) return;
    canvas.line(plate.box.middle(), plate.joint, canvas.px(4.5), palette::kPanel);
    canvas.line(plate.box.middle(), plate.joint, canvas.px(2.0), palette::kInk);
    canvas.disc(plate.joint, canvas.px(5.0), palette::kPanel);
    canvas.disc(plate.joint, canvas.px(3.5), palette::kInk);
}

/// The outline alone tells: a leak's plate is a diamond, a cleared one round, an undecided one square.
void draw_plate(Canvas& canvas, const SpotMark& s, const Box& box, bool next) {
    const auto look = plate_colours(s);
    const double radius = s.finding == Finding::clear  ? box.h / 2.0
                          : s.finding == Finding::open ? canvas.px(2.0)
                                                       : canvas.px(6.0);
    if (s.finding == Finding::fault) {
        const auto m = box.middle();
        const double w = box.w / 2.0 + canvas.px(11.0);
        const double h = box.h / 2.0 + canvas.px(11.0);
        const double line = canvas.px(2.5);
        const std::array<Point, 4> halo{
            {{m.x, m.y - h - line}, {m.x + w + line, m.y}, {m.x, m.y + h + line}, {m.x - w - line, m.y}}};
        const std::array<Point, 4> diamond{{{m.x, m.y - h}, {m.x + w, m.y}, {m.x, m.y + h}, {m.x - w, m.y}}};
        canvas.polygon(halo, palette::kPanel);
        canvas.round_box(box.inset(-line), radius + line, palette::kPanel);
        canvas.polygon(diamond, look.fill);
        canvas.round_box(box, radius, look.fill);
    } else {
        canvas.round_box(box.inset(-canvas.px(1.5)), radius + canvas.px(1.5), palette::kPanel);
        canvas.round_box(box, radius, look.fill);
        const bool done = s.finding == Finding::clear;
        canvas.round_frame(box, radius, canvas.px(done ? 1.5 : 2.5), done ? palette::kOnClear : palette::kInk);
        if (s.finding == Finding::shadowed) {  // hatched edge: the lower left half is darker
            const std::array<Point, 3> half{{{box.x + canvas.px(3.0), box.y + box.h * 0.55},
                                             {box.x + box.w * 0.45, box.bottom() - canvas.px(3.0)},
                                             {box.x + canvas.px(3.0), box.bottom() - canvas.px(3.0)}}};
            canvas.polygon(half, palette::kInk);
        }
    }
    canvas.text_middle(
        box.middle(), s.spot,
        {.size = next ? Sizes::kTitle : Sizes::kStrongText, .bold = true, .colour = look.on, .align = Align::middle});
}

/// Four thick angles around the plate and a wedge on each side, pointing at it.
void draw_next_frame(Canvas& canvas, const Box& plate) {
    const Box b = plate.inset(-canvas.px(13.0));
    const double arm = canvas.px(20.0);
    for (const auto& [width, colour] :
         {std::pair{canvas.px(11.0), palette::kPanel}, std::pair{canvas.px(7.0), palette::kAction}})
        for (const auto& [x, y, sx, sy] :
             {std::array{b.x, b.y, 1.0, 1.0}, std::array{b.right(), b.y, -1.0, 1.0},
              std::array{b.right(), b.bottom(), -1.0, -1.0}, std::array{b.x, b.bottom(), 1.0, -1.0}}) {
            const std::array<Point, 3> angle{{{x + sx * arm, y}, {x, y}, {x, y + sy * arm}}};
            canvas.polyline(angle, width, colour);
        }
}

void draw_burst_pips(Canvas& canvas, Point right_end, int bursts) {
    const double r = canvas.px(3.0);
    for (int i = 0; i < std::min(bursts, 6); ++i)
        canvas.disc({right_end.x - r - i * canvas.px(8.5), right_end.y}, r, palette::kInk);
}

/// A thin line from a plate to its label where that had to go further away.
void draw_label_line(Canvas& canvas, const MapLayout::Plate& plate) {
    const auto m = plate.box.middle();
    const auto& b = *plate.label;
    const Point to{std::clamp(m.x, b.x, b.right()), std::clamp(m.y, b.y, b.bottom())};
    if (plate.box.inset(-canvas.px(22.0)).holds(to)) return;
    canvas.line(m, to, canvas.px(3.5), palette::kPanel);
    canvas.line(m, to, canvas.px(1.5), palette::kFaintInk);
}

void draw_label(Canvas& canvas, const MapScene& scene, const MapLayout& layout, std::size_t i) {
    const auto& plate = layout.plates[i];
    const auto& s = scene.spots[i];
    const auto& b = *plate.label;
    const bool next = layout.next == i;
    const bool chosen = layout.chosen == i;
    const double pad = canvas.px(6.0);
    if (next && !scene.next_word.empty()) {
        canvas.round_box(b.inset(-canvas.px(2.0)), canvas.px(7.0), palette::kPanel);
        const Box head{b.x, b.y, b.w, canvas.px(34.0)};
        canvas.round_box(b, canvas.px(6.0), palette::kAction);
        canvas.text_middle(
            head.middle(), scene.next_word,
            {.size = Sizes::kStrongText, .bold = true, .colour = palette::kOnAction, .align = Align::middle});
        if (b.h > head.h + 1.0) {
            const Box foot{b.x, head.bottom(), b.w, b.h - head.h};
            canvas.round_box(foot.inset(canvas.px(2.0)), canvas.px(4.0), palette::kPanel);
            canvas.text_middle(foot.middle(), canvas.fitted(s.name, foot.w - pad, Sizes::kText),
                               {.align = Align::middle});
        }
        return;
    }
    canvas.round_box(b, canvas.px(4.0), palette::kPanel, 0.94);
    canvas.round_frame(b, canvas.px(4.0), canvas.px(chosen ? 2.5 : 1.0), chosen ? palette::kAction : palette::kRule);
    double y = b.y;
    if (scene.labels == MapLabels::names || chosen) {
        canvas.text_middle({b.x + pad, y + canvas.px(11.0)},
                           canvas.fitted(s.name, b.w - 2.0 * pad, Sizes::kSmallText, chosen),
                           {.size = Sizes::kSmallText, .bold = chosen});
        y += canvas.px(22.0);
        if (scene.labels == MapLabels::names) return;
    }
    if (!s.finding) return;
    canvas.sign(*s.finding, {b.x + pad + canvas.px(7.0), y + canvas.px(12.0)}, canvas.px(6.0));
    canvas.text_middle({b.x + pad + canvas.px(20.0), y + canvas.px(12.0)}, s.verdict,
                       {.size = verdict_size(*s.finding), .bold = *s.finding == Finding::fault});
    y += canvas.px(24.0);
    if (y + canvas.px(12.0) > b.bottom()) return;
    draw_burst_pips(canvas, {b.right() - pad, y + canvas.px(7.0)}, s.bursts);
    draw_whisker(canvas,
                 {b.x + pad, y, b.w - 2.0 * pad - canvas.px(std::min(s.bursts, 6) * 8.5 + 4.0), canvas.px(14.0)},
                 {.value = s.value,
                  .low = s.low,
                  .high = s.high,
                  .span = layout.whisker_span,
                  .matters = scene.matters,
                  .finding = *s.finding});
}

}  // namespace

TextMeasure measure_with(const Canvas& canvas) {
    return [&canvas](std::string_view words, double size, bool bold) { return canvas.width_of(words, size, bold); };
}

void draw_map(Canvas& canvas, const MapScene& scene, const MapLayout& layout, const MapCamera& camera) {
    if (scene.picture) {
        draw_picture(canvas, scene, camera);
    } else if (scene.schematic) {
        for (const auto& part : scene.schematic->parts) draw_part(canvas, part, camera);
        for (const auto& part : scene.schematic->parts)
            name_part(canvas, part, scene.part_name ? scene.part_name(part) : part.name, camera, layout);
        canvas.flush();
    }
    const auto seen = [&](std::size_t i) { return camera.area().holds(layout.plates[i].joint); };
    for (std::size_t i = 0; i < scene.spots.size(); ++i)
        if (seen(i)) {
            draw_stem(canvas, layout.plates[i]);
            if (layout.plates[i].label) draw_label_line(canvas, layout.plates[i]);
        }
    for (std::size_t i = 0; i < scene.spots.size(); ++i)
        if (seen(i) && layout.next != i) draw_plate(canvas, scene.spots[i], layout.plates[i].box, false);
    for (std::size_t i = 0; i < scene.spots.size(); ++i)
        if (layout.plates[i].label && layout.next != i) draw_label(canvas, scene, layout, i);
    canvas.flush();
    if (layout.chosen && seen(*layout.chosen))
        canvas.round_frame(layout.plates[*layout.chosen].box.inset(-canvas.px(5.0)), canvas.px(10.0), canvas.px(3.5),
                           palette::kAction);
    for (std::size_t i = 0; i < scene.spots.size(); ++i)
        if (scene.spots[i].along && seen(i)) {
            draw_next_frame(canvas, layout.plates[i].box);
            draw_plate(canvas, scene.spots[i], layout.plates[i].box, true);
        }
    canvas.flush();
    if (!layout.next || !seen(*layout.next)) return;
    const auto& plate = layout.plates[*layout.next];
    draw_next_frame(canvas, plate.box);
    draw_plate(canvas, scene.spots[*layout.next], plate.box, true);
    if (plate.label) draw_label(canvas, scene, layout, *layout.next);
    canvas.flush();
}

}  // namespace idlehark::gui
