#pragma once

#include "dsp/injectors/crank_clock.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// Where in each cycle of the clock the strongest repeating click lies.
struct ClickPath {
    std::vector<double> at_cycles;  ///< one per cycle, on the clock's scale; steadily rising, about 1 apart
    double contrast = 0.0;          ///< mean strength along the path, in standard deviations of the strength
    double chance_contrast = 0.0;   ///< the same with the cycles turned against each other at random: what noise gives
};

/// Contrast against what chance gives from which something repeats.
inline constexpr double kClearOfChance = 1.35;
/// Frames that the clicks drift on the tracker's clock, or a sharpened one, from cycle to cycle.
inline constexpr int kFramesByClock = 4;

/// Mean time from one click of a path to the next.
[[nodiscard]] double mean_period_s(const CrankClock& clock, const ClickPath& path);

/// Where a line is looked for: so far after another line, and no further from there than `side_s`.
struct ClickCorridor {
    std::span<const double> at_cycles{};  ///< of the other; empty: everywhere
    double after_cycles = 0.0;
    double side_s = 0.0;
};

/// Folds the click strength on the clock and follows the best line through the cycles, which may drift (the clock's
/// own error) by `reach` frames from one to the next. Empty with less than 6 cycles. What
/// chance gives is the mean of `chances` turned foldings, 0 if none is asked for.
[[nodiscard]] ClickPath follow_clicks(std::span<const float> strength, double hop_s, const CrankClock& clock, int reach,
                                      int chances, const ClickCorridor& corridor = {});

}  // namespace idlehark
