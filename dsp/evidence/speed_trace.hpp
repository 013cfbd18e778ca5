#pragma once

#include "dsp/idle_tracker.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// Idle speed on an even grid. Where nothing was heard `seen` is 0 and `rpm` a straight line between its neighbours.
struct SpeedTrace {
    double start_s = 0.0;
    double step_s = 0.2;
    std::vector<double> rpm;
    std::vector<char> seen;

    [[nodiscard]] std::size_t size() const noexcept { return rpm.size(); }
    [[nodiscard]] double time_s(std::size_t i) const noexcept { return start_s + step_s * static_cast<double>(i); }
    /// Nearest grid point, which may lie outside the trace.
    [[nodiscard]] long index(double time_s) const noexcept;
};

/// Puts readings on a grid: each cell is the mean of its locked readings, weighted by their intervals.
/// Readings that are unlocked, not finite, or far less sure than the usual one do not count, nor do cells far from all
/// around them, for a second at most. Where nothing was heard for 20 s or more, what follows is brought to the level
/// before: the change belongs to nobody's spray. The trace is empty when nothing is locked. Readings must be in time
/// order; any spacing.
[[nodiscard]] SpeedTrace resample(std::span<const RpmReading> readings, double step_s);

/// Straight lines over the cells not seen (ends: the nearest seen value).
void bridge_gaps(std::vector<double>& rpm, const std::vector<char>& seen);

}  // namespace idlehark::evidence
