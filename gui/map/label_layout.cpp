#include "gui/map/label_layout.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <numeric>

namespace idlehark::gui {

namespace {

Box into(Box b, const Box& area) {
    b.x = std::clamp(b.x, area.x, std::max(area.x, area.right() - b.w));
    b.y = std::clamp(b.y, area.y, std::max(area.y, area.bottom() - b.h));
    return b;
}

Box grown(const Box& b, double by) { return b.inset(-by); }

/// Places beside a plate, each with what it costs beyond its distance.
std::vector<std::pair<Box, double>> candidates(const Box& plate, const LabelWish& wish, double gap) {
    std::vector<std::pair<Box, double>> list;
    const double middle_x = plate.x + (plate.w - wish.w) / 2.0;
    const double middle_y = plate.y + (plate.h - wish.h) / 2.0;
    for (int step = 0; step < 9; ++step) {
        const double off = gap + step * 0.7 * plate.h;
        const double right = plate.right() + off;
        const double left = plate.x - off - wish.w;
        const double below = plate.bottom() + off;
        const double above = plate.y - off - wish.h;
        const double far = step * plate.h;
        list.push_back({{right, middle_y, wish.w, wish.h}, far});
        list.push_back({{middle_x, below, wish.w, wish.h}, far + 0.2 * plate.h});
        list.push_back({{middle_x, above, wish.w, wish.h}, far + 0.25 * plate.h});
        list.push_back({{left, middle_y, wish.w, wish.h}, far + 0.3 * plate.h});
        // Shifted along the side, and over the corners.
        for (const double shift : {-0.6, 0.6, -1.2, 1.2}) {
            const double shifted = far + std::abs(shift) * plate.h;
            list.push_back({{right, middle_y + shift * wish.h, wish.w, wish.h}, shifted});
            list.push_back({{left, middle_y + shift * wish.h, wish.w, wish.h}, shifted + 0.3 * plate.h});
            list.push_back({{middle_x + 0.5 * shift * wish.w, below, wish.w, wish.h}, shifted + 0.2 * plate.h});
            list.push_back({{middle_x + 0.5 * shift * wish.w, above, wish.w, wish.h}, shifted + 0.25 * plate.h});
        }
    }
    return list;
}

}  // namespace

std::vector<Box> spread(std::vector<Box> boxes, const Box& area, double gap_px) {
    const auto wished = boxes;
    for (auto& b : boxes) b = into(b, area);
    constexpr int kRounds = 200;
    for (int round = 0; round < kRounds; ++round) {
        bool moved = false;
        for (std::size_t i = 0; i < boxes.size(); ++i)
            for (std::size_t k = i + 1; k < boxes.size(); ++k) {
                auto& a = boxes[i];
                auto& b = boxes[k];
                const double over_x = std::min(a.right(), b.right()) - std::max(a.x, b.x) + gap_px;
                const double over_y = std::min(a.bottom(), b.bottom()) - std::max(a.y, b.y) + gap_px;
                if (over_x <= 1e-6 || over_y <= 1e-6) continue;
                moved = true;
                // Along the direction that takes less; which way is decided by the wishes, then by the order.
                const auto wish = wished[k].middle() - wished[i].middle();
                const bool along_x = over_x < over_y;
                const double way = along_x ? wish.x : wish.y;
                const double push = (way < 0.0 ? -0.5 : 0.5) * ((along_x ? over_x : over_y) + 1e-3);
                (along_x ? a.x : a.y) -= push;
                (along_x ? b.x : b.y) += push;
                a = into(a, area);
                b = into(b, area);
            }
        if (!moved) break;
    }
    return boxes;
}

bool settled(std::span<const Box> boxes) noexcept {
    for (std::size_t i = 0; i < boxes.size(); ++i)
        for (std::size_t k = i + 1; k < boxes.size(); ++k)
            if (shared_area(boxes[i], boxes[k]) > 0.0) return false;
    return true;
}

LabelPlaces place_labels(std::span<const Box> plates, std::span<const LabelWish> wishes, const Box& area,
                         double gap_px) {
    std::vector<std::size_t> order(wishes.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](auto a, auto b) { return wishes[a].importance > wishes[b].importance; });

    LabelPlaces best;
    std::size_t fewest = std::numeric_limits<std::size_t>::max();
    constexpr int kTries = 4;
    for (int attempt = 0; attempt < kTries && fewest > 0; ++attempt) {
        LabelPlaces places{.boxes = std::vector<std::optional<Box>>(wishes.size()), .all = true};
        std::vector<std::size_t> without;
        for (const auto i : order) {
            if (wishes[i].w <= 0.0) continue;
            double least = std::numeric_limits<double>::infinity();
            std::optional<Box> place;
            for (const auto& candidate : candidates(plates[i], wishes[i], gap_px)) {
                const Box box = candidate.first;
                const double extra = candidate.second;
                if (extra >= least || !area.holds(box)) continue;
                const auto around = grown(box, gap_px * 0.5);
                const auto hits = [&](const Box& other) { return shared_area(around, other) > 0.0; };
                if (std::any_of(plates.begin(), plates.end(), hits) ||
                    std::any_of(places.boxes.begin(), places.boxes.end(),
                                [&](const auto& other) { return other && hits(*other); }))
                    continue;
                // Beside another plate a label is taken for that one's.
                const double own = distance(box.middle(), plates[i].middle());
                const bool astray = std::any_of(plates.begin(), plates.end(), [&](const Box& other) {
                    return distance(box.middle(), other.middle()) < own - 1e-9;
                });
                const double cost = extra + (astray ? 0.7 * plates[i].h : 0.0);
                if (cost >= least) continue;
                least = cost;
                place = box;
            }
            places.boxes[i] = place;
            if (!place) without.push_back(i);
        }
        places.all = without.empty();
        if (without.size() < fewest) {
            fewest = without.size();
            best = places;
        }
        std::stable_partition(order.begin(), order.end(),
                              [&](auto i) { return std::find(without.begin(), without.end(), i) != without.end(); });
    }
    return best;
}

}  // namespace idlehark::gui
