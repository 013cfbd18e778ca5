#pragma once

#include <span>
#include <vector>

namespace idlehark {

/// Scatter of single events about a course that bends slowly.
struct TimeScatter {
    double sd = 0.0;             ///< of the events about the course, in the unit of the values
    std::vector<double> course;  ///< the smoothed course at every index
};

/// Splits values at whole, even steps into white scatter and a course whose slope is a random walk: what is left of the
/// crank's speed once a clock was taken off, against the jitter of each click.
/// Input    values, NaN where there is none; at least 8 others.
/// Method   both variances by maximum likelihood of the state-space model (Harvey, Forecasting, Structural Time Series
///          Models and the Kalman Filter, 1989, section 4.5, from memory), the course by the fixed-interval smoother.
///          Values further than 5 scatters from the course are left out in a second round.
/// Errors   std::invalid_argument with fewer than 8 values.
[[nodiscard]] TimeScatter split_scatter(std::span<const double> values);

}  // namespace idlehark
