#pragma once

#include <cmath>
#include <limits>
#include <span>
#include <vector>

namespace idlehark {

/// One figure of one visit. All spreads are standard deviations on the figure's scale.
struct FigureValue {
    double value = std::nan("");  ///< NaN: not known; then nothing is said
    double sd = std::nan("");     ///< of the value, given this recording alone
    double visit_sd = 0.0;        ///< from visit to visit with nothing mended and nothing broken
};

enum class FigureScale {
    plain,
    ratio,  ///< values above 0; spreads are those of the natural logarithm
};

/// When a proven change is one for the better.
enum class Wish {
    less,         ///< the figure falls
    nearer_zero,  ///< its size falls, whatever its sign
    in_range,     ///< it comes nearer to the range given, and provably so: not from one side to as far on the other
};

struct FigurePair {
    FigureValue before, after;
    FigureScale scale = FigureScale::plain;
    Wish wish = Wish::less;
    double range_low = 0.0, range_high = 0.0;  ///< for Wish::in_range
    bool asked = true;                         ///< false: difference and interval only, no verdict
    double p_otherwise = 0.0;  ///< chance that something else than the spreads gives any difference: added to the p
};

enum class ChangeVerdict {
    better,
    worse,
    changed,    ///< proven, but neither better nor worse: within the range both times, or as far out on its other side
    no_proven,  ///< no proven change; not the same as "unchanged"
    unknown,    ///< one of the two is not known
};

struct Change {
    double difference = std::nan("");  ///< after - before, in the figure's unit
    double low = std::nan("");         ///< 95 % interval, for this figure alone
    double high = std::nan("");
    double p_value = std::nan("");  ///< corrected for all figures asked about (Holm), what else may be the reason
                                    ///< added; NaN: not asked
    ChangeVerdict verdict = ChangeVerdict::unknown;
};

/// Compares the figures of two visits.
/// Way      the difference on the figure's scale against the four spreads together; on the ratio scale the interval is
///          brought back with the value before. The family-wise error over all figures is `familywise_error`.
/// Accuracy pairs without a change have any figure called changed in at most that share of cases, a mended leak is
///          proven: tests/bench/compare_bench.cpp.
/// Errors   std::invalid_argument for a negative spread, or a value not above 0 on the ratio scale.
[[nodiscard]] std::vector<Change> compare_figures(std::span<const FigurePair> pairs, double familywise_error = 0.05);

}  // namespace idlehark
