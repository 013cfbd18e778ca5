#include "gui/map/map_scene.hpp"

#include "gui/look/sizes.hpp"

#include <limits>

namespace idlehark::gui {

namespace {

constexpr double kPlate = 30.0;      // height at 100 %
constexpr double kNextPlate = 46.0;  // the next spot's

Box plate_box(const SpotMark& s, bool next, Point at, const TextMeasure& measure, const Sizes& sizes) {
    const double h = sizes.px(next ? kNextPlate : kPlate);
    const double text = measure(s.spot, next ? Sizes::kTitle : Sizes::kStrongText, true);
    const double w = std::max(h, text + sizes.px(12.0));
    return {at.x - w / 2.0, at.y - h / 2.0, w, h};
}

/// What a plate's frame or points need around it.
double claim(const SpotMark& s, bool next, const Sizes& sizes) {
    return sizes.px(next ? 18.0 : s.finding == Finding::fault ? 10.0 : 0.0);
}

LabelWish wish_of(const MapScene& scene, const SpotMark& s, bool next, bool chosen, LabelForm form,
                  const TextMeasure& measure, const Sizes& sizes) {
    constexpr double kPad = 6.0;
    LabelWish wish{.importance = next                             ? 4
                                 : chosen                         ? 3
                                 : s.finding == Finding::fault    ? 2
                                 : s.finding == Finding::shadowed ? 1
                                                                  : 0};
    const auto line = [&](std::string_view words, double size, bool bold) { return measure(words, size, bold); };
    if (next && !scene.next_word.empty()) {
        wish.w = line(scene.next_word, Sizes::kStrongText, true) + sizes.px(4 * kPad);
        wish.h = sizes.px(34.0);
        if (!s.name.empty() && form != LabelForm::none) {
            wish.w = std::max(wish.w, line(s.name, Sizes::kText, false) + sizes.px(2 * kPad));
            wish.h += sizes.px(24.0);
        }
        return wish;
    }
    if (form == LabelForm::none && !chosen) return wish;
    if (scene.labels == MapLabels::names || chosen) {
        if (s.name.empty()) return wish;
        if (form != LabelForm::whole && !chosen) return wish;
        wish.w = line(s.name, Sizes::kSmallText, chosen) + sizes.px(2 * kPad);
        wish.h = sizes.px(22.0);
        if (scene.labels == MapLabels::names || !s.finding) return wish;
    }
    if (!s.finding) return wish;
    wish.w = std::max(wish.w, line(s.verdict, verdict_size(*s.finding), true) + sizes.px(2 * kPad + 22.0));
    wish.h += sizes.px(24.0);
    if (form == LabelForm::whole && std::isfinite(s.low) && std::isfinite(s.high)) {
        wish.w = std::max(wish.w, sizes.px(104.0));
        wish.h += sizes.px(18.0);
    }
    return wish;
}

/// Where a label covers least of what is there, its own plate least of all.
Box least_covering(const MapLayout& layout, std::size_t own, const LabelWish& wish, const Box& area) {
    constexpr int kPlaces = 24;  // along each side
    Box best{area.x, area.y, wish.w, wish.h};
    double least = std::numeric_limits<double>::infinity();
    for (int i = 0; i <= kPlaces; ++i)
        for (int k = 0; k <= kPlaces; ++k) {
            const Box box{area.x + (area.w - wish.w) * i / kPlaces, area.y + (area.h - wish.h) * k / kPlaces, wish.w,
                          wish.h};
            double cost = 0.02 * wish.h * distance(box.middle(), layout.plates[own].joint);
            for (std::size_t p = 0; p < layout.plates.size(); ++p) {
                cost += shared_area(box, layout.plates[p].box) * (p == own ? 100.0 : 1.0);
                if (layout.plates[p].label) cost += 0.3 * shared_area(box, *layout.plates[p].label);
            }
            if (cost < least) {
                least = cost;
                best = box;
            }
        }
    return best;
}

}  // namespace

MapLayout lay_out(const MapScene& scene, const MapCamera& camera, const TextMeasure& measure, double scale) {
    const Sizes sizes{scale};
    MapLayout layout;
    std::vector<Box> wished;
    const Box area = camera.area().inset(sizes.px(2.0));
    double span = 2.0 * scene.matters;
    std::vector<std::size_t> seen;  // spots inside the area
    layout.plates.resize(scene.spots.size());
    for (std::size_t i = 0; i < scene.spots.size(); ++i) {
        const auto& s = scene.spots[i];
        if (s.spot == scene.next && !scene.next.empty()) layout.next = i;
        if (s.spot == scene.chosen && !scene.chosen.empty()) layout.chosen = i;
        for (const double v : {s.low, s.high})
            if (std::isfinite(v)) span = std::max(span, std::abs(v));
        auto& plate = layout.plates[i];
        plate.joint = camera.to_px(s.at_mm);
        plate.box = plate_box(s, layout.next == i || s.along, plate.joint, measure, sizes);
        if (!area.holds(plate.joint)) continue;
        seen.push_back(i);
        wished.push_back(plate.box.inset(-claim(s, layout.next == i || s.along, sizes)));
    }
    layout.whisker_span = std::min(span, 6.0 * scene.matters);

    const auto boxes = spread(wished, area, sizes.px(3.0));
    for (std::size_t k = 0; k < seen.size(); ++k) {
        const auto i = seen[k];
        layout.plates[i].box = boxes[k].inset(claim(scene.spots[i], layout.next == i || scene.spots[i].along, sizes));
    }

    for (const auto form : {LabelForm::whole, LabelForm::word, LabelForm::none}) {
        std::vector<LabelWish> wishes;
        wishes.reserve(seen.size());
        for (const auto i : seen)
            wishes.push_back(
                wish_of(scene, scene.spots[i], layout.next == i, layout.chosen == i, form, measure, sizes));
        const auto places = place_labels(boxes, wishes, area, sizes.px(4.0));
        layout.form = form;
        for (std::size_t k = 0; k < seen.size(); ++k) layout.plates[seen[k]].label = places.boxes[k];
        if (places.all) break;
    }
    if (layout.next && area.holds(layout.plates[*layout.next].joint) && !layout.plates[*layout.next].label) {
        const auto wish = wish_of(scene, scene.spots[*layout.next], true, false, LabelForm::none, measure, sizes);
        if (wish.w > 0.0) layout.plates[*layout.next].label = least_covering(layout, *layout.next, wish, area);
    }
    return layout;
}

std::optional<std::size_t> spot_at(const MapLayout& layout, Point px, double scale) {
    const double reach = Sizes{scale}.px(Sizes::kTarget / 2.0);
    std::optional<std::size_t> nearest;
    double least = reach;
    for (std::size_t i = 0; i < layout.plates.size(); ++i) {
        const auto& p = layout.plates[i];
        if (p.box.holds(px)) return i;
        const double d = std::min(distance(px, p.box.middle()), distance(px, p.joint));
        if (d < least) {
            least = d;
            nearest = i;
        }
    }
    return nearest;
}

Box bounds_of(const MapScene& scene, double picture_height_per_width) {
    Box b{0, 0, 0, 0};
    if (scene.picture)
        b = {0, 0, scene.picture_width_mm, scene.picture_width_mm * picture_height_per_width};
    else if (scene.schematic)
        b = scene.schematic->bounds_mm;
    else if (!scene.spots.empty())
        b = {scene.spots.front().at_mm.x, scene.spots.front().at_mm.y, 0, 0};
    for (const auto& s : scene.spots) {
        const double right = std::max(b.right(), s.at_mm.x);
        const double bottom = std::max(b.bottom(), s.at_mm.y);
        b.x = std::min(b.x, s.at_mm.x);
        b.y = std::min(b.y, s.at_mm.y);
        b.w = right - b.x;
        b.h = bottom - b.y;
    }
    return b;
}

}  // namespace idlehark::gui
