#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// A spot as a receiver, or where it may leak a source, of spray that drifts. The larger change is never drift from the
/// smaller.
struct SprayedSpot {
    bool placed = false;
    double x_mm = 0.0;
    double y_mm = 0.0;
    bool source = false;            ///< a leak, proven or likely
    double change_rpm = 0.0;        ///< what it shows, with its spread
    double spread_rpm = 0.0;        ///< standard deviation
    std::vector<double> log_curve;  ///< log odds of each change of the grid against none; empty: never sprayed
};

/// Whether any source stands near enough for spray meant for `spot` to reach it.
[[nodiscard]] bool has_leaking_neighbour(std::span<const SprayedSpot> spots, std::size_t spot);

/// Log odds that `spot` leaks itself, on top of what drifts over to all leaking neighbours, against the drift alone.
/// The share that drifts (0 to 0.45, most likely 0.3), how it falls with distance (full up to 60 mm, then at once or
/// over some 40 or 80 mm), and how often any drifts from one spot to another (a draught takes it one way) are unknown,
/// common to a session, and learned from its other neighbours of leaks, wet and dry. `grid_rpm`: the changes the curves
/// are for.
[[nodiscard]] double own_leak_log_odds(std::span<const SprayedSpot> spots, std::size_t spot,
                                       std::span<const double> grid_rpm);

}  // namespace idlehark::evidence
