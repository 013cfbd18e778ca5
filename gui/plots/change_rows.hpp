#pragma once

#include "gui/look/canvas.hpp"

#include <cmath>
#include <span>
#include <string>

namespace idlehark::gui {

/// One figure before and after: the difference with its interval against no change, on a scale of its own.
struct ChangeRow {
    std::string figure{}, name{};           ///< "spot 7", "plenum gasket"
    std::string before{}, after{}, unit{};  ///< as text; empty where not known
    double difference = std::nan(""), low = std::nan(""), high = std::nan("");
    std::string difference_words{};
    Finding finding = Finding::open;
    std::string verdict{};
};

struct ChangeWords {
    std::string before, after, less, same, more;
};

/// At 100 %; where the place is narrow the rows have two lines.
[[nodiscard]] double change_rows_height(std::size_t rows, double width_at_100);

/// The columns' heads, then a row a figure.
void draw_change_rows(Canvas& canvas, const Box& on, std::span<const ChangeRow> rows, const ChangeWords& words);

}  // namespace idlehark::gui
