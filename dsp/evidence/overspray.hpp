#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// A spot as a receiver, or once proven a source, of spray that drifts.
struct SprayedSpot {
    bool placed = false;
    double x_mm = 0.0;
    double y_mm = 0.0;
    bool source = false;            ///< a proven leak
    std::vector<double> log_curve;  ///< log odds of each change of the grid against none; empty: never sprayed
};

/// How well a leaking neighbour explains what `spot` shows: log odds against no change at all, of a change that is the
/// session's share of the neighbour's, averaged over both. The share (0 to 0.5, most likely 0.3, less likely the
/// farther the neighbour) is learned from the other neighbours of leaks in the same session. 0 when there is no leaking
/// neighbour, and never less than 0. `grid_rpm`: the changes the curves are for.
[[nodiscard]] double neighbour_log_odds(std::span<const SprayedSpot> spots, std::size_t spot,
                                        std::span<const double> grid_rpm);

}  // namespace idlehark::evidence
