#pragma once

#include "dsp/compare/change.hpp"
#include "dsp/evidence/spray_test.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// What the answer of one and the same leak differs by from visit to visit (another can, another hand, another
/// distance) and from burst to burst (uneven hands and misses), as shares of it. Common practice, no source.
inline constexpr double kSprayVisit_share = 0.2;
inline constexpr double kSprayBurst_share = 0.35;
/// How often a burst reaches nothing of a leak. Where a visit shows no answer all of its bursts may have missed, and
/// one or two such bursts prove little. Common practice, no source.
inline constexpr double kSprayMiss_share = 0.2;

/// One visit's spray test. The spots are the same, and in the same order, in both visits.
struct SprayedVisit {
    std::span<const RpmReading> readings;
    std::span<const SprayBurst> bursts;
    std::span<const char> answers;  ///< per spot: 1 if the visit proves that it leaks or catches a neighbour's spray
};

/// Each spot's change of speed in two visits, ready to be compared. Not known where it was not sprayed.
/// Way      one answer (shape and delay) is fitted to both visits' leaking spots together; with it every spot's change
///          is a generalised least squares estimate under the visit's own coloured noise (dsp/evidence), learned
///          without the visit's answers, and its spread is scaled to what sham placements in the same trace show. Cans
///          and hands differ by a share of what each visit shows: one of the mean of both takes a lucky strong visit
///          beside a weak one for a change.
/// Asked    only of spots that one of the two visits proves to leak or to catch a neighbour's spray: nothing else can
///          have been mended provably, and the fewer questions, the sharper each may be.
[[nodiscard]] std::vector<FigurePair> spot_pairs(const SprayedVisit& before, const SprayedVisit& after,
                                                 IdleControl idle_control);

}  // namespace idlehark
