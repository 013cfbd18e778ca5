#pragma once

#include "gui/look/geometry.hpp"

#include <optional>
#include <span>
#include <vector>

namespace idlehark::gui {

/// Pushes boxes of the same area apart until none overlaps, moving each as little as that takes. Input: where each
/// would like to be. Output: same order and sizes, inside `area`, at least `gap_px` apart; if the area is too full for
/// that, overlaps are left (settled() says so). Equal wishes in equal order give equal places.
[[nodiscard]] std::vector<Box> spread(std::vector<Box> boxes, const Box& area, double gap_px);
/// None of them overlaps another.
[[nodiscard]] bool settled(std::span<const Box> boxes) noexcept;

/// A label that belongs to a plate.
struct LabelWish {
    double w = 0.0;  ///< 0: no label wanted
    double h = 0.0;
    int importance = 0;  ///< the most important are placed first
};

struct LabelPlaces {
    std::vector<std::optional<Box>> boxes;  ///< nothing where there was no room, or no wish
    bool all = true;                        ///< every wish was met
};

/// Finds each label a place beside its plate: overlapping no plate and no other label, inside `area`, as near as there
/// is room, to the right rather than elsewhere. Labels that found none go first in a further try; the best of a few
/// tries counts.
[[nodiscard]] LabelPlaces place_labels(std::span<const Box> plates, std::span<const LabelWish> wishes, const Box& area,
                                       double gap_px);

}  // namespace idlehark::gui
