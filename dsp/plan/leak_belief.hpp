#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace idlehark::plan {

/// What all bursts on one target (a spot, or neighbours misted in one pass) say together.
struct Look {
    std::vector<std::pair<std::size_t, double>> shares;  ///< spot, and what it gets of a full burst
    std::vector<std::pair<std::size_t, double>> drift;   ///< neighbours, and how near they are (0..1)
    std::vector<double> log_curve;                       ///< log odds of each change of `grid_rpm` against none
};

/// What is believed of one spot.
struct SpotBelief {
    double leaks = 0.0;    ///< chance that it leaks at all
    double matters = 0.0;  ///< chance that it changes the idle by `matters_rpm` or more
    double mean_rpm = 0.0;
};

/// Posterior of every spot's own leak given all looks at once, spots that share a look included.
/// Model    a spot leaks with its prior chance; then its change is Cauchy (12 rpm, either sign). A look sees the shares
///          of its spots, and of their neighbours what drifts over: 0 to 40 % of the spray, unknown, common to all.
/// Method   Gibbs sampling; spots that see one another are drawn anew together as well, else two leaks side by side may
///          stay put down to a third one. Chances are averaged from the conditionals, so that small ones are found,
///          too. Seeded: the same input gives the same digits.
/// Accuracy tests/dsp/plan_test.cpp compares it with the exact sum over all combinations of three spots.
[[nodiscard]] std::vector<SpotBelief> believe(std::span<const double> priors, std::span<const Look> looks,
                                              std::span<const double> grid_rpm, double matters_rpm, std::uint64_t seed,
                                              int sweeps = 1200);

}  // namespace idlehark::plan
