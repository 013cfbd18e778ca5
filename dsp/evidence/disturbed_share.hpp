#pragma once

#include "dsp/evidence/coloured_noise.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <span>

namespace idlehark::evidence {

/// Likelihood, against none, of a dose ~ N(mean, spread) of a shape that was asked for: its logarithm.
[[nodiscard]] double log_dose(const WhitenedTrace::Score& heard, double mean_rpm, double spread_rpm);

/// Share of a step's place among what falls upon bursts; the rest comes and goes as answers do.
inline constexpr double kLastingShare = 0.5;
inline constexpr double kLoadRise_s = 0.5;

/// The share of bursts that something else falls upon, a load step or a passing change: what as much time as a burst's
/// answer may begin in meets between the answers, told from all of them together, as each may be too small to stand
/// out. `bursts`: their cells. `change_rpm`: spread of such changes. Few such stretches: near 0.01.
[[nodiscard]] double disturbed_share(const WhitenedTrace& trace, double step_s, std::span<const WeightedShape> shapes,
                                     std::span<const long> bursts, double change_rpm);

}  // namespace idlehark::evidence
