#pragma once

#include "dsp/injectors/crank_clock.hpp"

#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// Where in each cycle of the clock the strongest repeating click lies.
struct ClickPath {
    std::vector<double> at_cycles;  ///< one per cycle, on the clock's scale; steadily rising, about 1 apart
    double contrast = 0.0;          ///< mean strength along the path, in standard deviations of the strength
    double chance_contrast = 0.0;   ///< the same with the cycles turned against each other at random: what noise gives
};

/// Folds the click strength on the clock and follows the best line through the cycles, which may drift (the clock's
/// own error) by `reach` frames from one to the next. Empty with less than 6 cycles. What
/// chance gives is the mean of `chances` turned foldings, 0 if none is asked for.
[[nodiscard]] ClickPath follow_clicks(std::span<const float> strength, double hop_s, const CrankClock& clock, int reach,
                                      int chances, std::uint64_t seed);

}  // namespace idlehark
