#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace idlehark::evidence {

/// What the odds of a dry spot look like in this recording: earned from sham placements, its far tail fitted.
/// Up to the 90th percentile the shams' own share counts. Beyond, the excess is taken as exponential with a rate fitted
/// to the shams; and from the 99th on once more, the larger chance counting: the one tail is told by more shams, the
/// other sees what befalls few of them, as when load steps fall on two of three bursts. (The shams' own share in
/// between would be surer still, but a leak's own answers are among them.) Few placements of one recording are
/// independent, so the rates are drawn a little towards the usual one, 1.2: in pure noise of 250 learned colours it
/// was 1.3 (nine of ten 1.1 to 1.6), in disturbed idles 1.1.
class ShamNull {
   public:
    /// `independent`: how many placements that do not overlap fit into the trace: shams beyond these add little.
    ShamNull(std::vector<double> log_odds, double independent);

    /// Chance that one dry spot reaches these odds.
    [[nodiscard]] double p_value(double log_odds) const;

   private:
    std::vector<double> sorted_;
    static constexpr std::array<double, 2> kTailShares{0.1, 0.01};
    struct Tail {
        double from = 0.0, rate = 1.0;
    };
    std::array<Tail, kTailShares.size()> tails_;
};

}  // namespace idlehark::evidence
