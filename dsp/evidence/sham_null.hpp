#pragma once

#include <cstddef>
#include <vector>

namespace idlehark::evidence {

/// What the odds of a dry spot look like in this recording: earned from sham placements, its far tail fitted.
/// Up to the 90th percentile the shams' own share counts; beyond, the excess is exponential with a rate fitted to the
/// shams and drawn towards 1, the rate of odds whose model is right (a dry spot has odds above c in at most 1/c of
/// cases).
class ShamNull {
   public:
    /// `independent`: how many placements that do not overlap fit into the trace: shams beyond these add little.
    ShamNull(std::vector<double> log_odds, double independent);

    /// Chance that one dry spot reaches these odds.
    [[nodiscard]] double p_value(double log_odds) const;
    /// Inverse of `p_value` in the tail (p below 0.1).
    [[nodiscard]] double threshold(double p) const;

   private:
    std::vector<double> sorted_;
    double tail_from_ = 0.0;
    double rate_ = 1.0;
};

}  // namespace idlehark::evidence
