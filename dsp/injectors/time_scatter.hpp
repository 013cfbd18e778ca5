#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

/// An event that marks a course at a place.
struct CourseMark {
    double at = 0.0;         ///< ascending
    double value = 0.0;      ///< NaN: none
    std::size_t family = 0;  ///< 0: the events asked about; each other family lies about a middle of its own
};

/// Scatter of single events about a course that bends slowly.
struct TimeScatter {
    double sd = 0.0;             ///< of the events of family 0 about the course, in the unit of the values
    double least_sd = 0.0;       ///< the least that the values do not exclude (likelihood ratio, 95 %)
    std::vector<double> course;  ///< the smoothed course at every mark
};

/// Splits values into white scatter and a course whose slope is a random walk: what is left of the crank's speed once a
/// clock was taken off, against the jitter of each click.
/// Input    at least 8 values of family 0.
/// Method   all variances by maximum likelihood of the state-space model (Harvey, Forecasting, Structural Time Series
///          Models and the Kalman Filter, 1989, section 4.5, from memory), the course by the fixed-interval smoother.
///          Values further than 3.5 scatters from the course are left out in a second round.
/// Errors   std::invalid_argument with fewer than 8 values.
[[nodiscard]] TimeScatter split_scatter(std::span<const CourseMark> marks);

}  // namespace idlehark
