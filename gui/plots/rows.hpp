#pragma once

#include "gui/look/canvas.hpp"

#include <cmath>
#include <span>
#include <string>
#include <vector>

namespace idlehark::gui {

/// One line of a list of results: who, how much with its interval, and the verdict in words.
struct ResultRow {
    std::string id{};  ///< number of the spot or cylinder, on a plate
    std::string name{};
    double value = std::nan("");
    double low = std::nan("");
    double high = std::nan("");
    std::string figure{};  ///< the value in words, "+12 rpm"
    Finding finding = Finding::open;
    std::string verdict{};
    int bursts = 0;
};

/// How the values of a list are shown.
struct RowsScale {
    bool bars = false;            ///< bars from `zero` (levels, strengths); else whiskers against zero
    double zero = 0.0;            ///< where bars start
    double usual = std::nan("");  ///< a line where an ordinary value lies
    double low = -30.0;           ///< of the axis
    double high = 30.0;
    double matters = 0.0;  ///< whiskers: the change that matters
};

inline constexpr double kRowHeight = 36.0;  ///< at 100 %

/// How many rows of one height have room; what rounding took off the last one does not lose it.
[[nodiscard]] std::size_t rows_with_room(double height_px, double row_px) noexcept;

/// Draws as many rows as have room, from `first` on; all share one axis. Returns how many. Where there is little width
/// the name goes first, then the figure; plate, whisker and verdict stay.
std::size_t draw_rows(Canvas& canvas, const Box& on, std::span<const ResultRow> rows, const RowsScale& scale,
                      std::size_t first = 0);

}  // namespace idlehark::gui
