#pragma once

#include <limits>
#include <span>
#include <vector>

namespace idlehark {

/// A figure of one spot, NaN if not known, and what its own recording leaves open.
struct SpotFigure {
    double value_db = std::numeric_limits<double>::quiet_NaN(), variance = 0.0;
};

/// What a sound spot of a survey would show, as far as the others tell.
/// Model    sound spots scatter normally about a middle. Any other spot may be loud besides, one in four before
///          anything is heard: a leak, its neighbour or a fan only ever adds, anything up to 20 dB. So the quieter
///          ones tell the middle and the spread, and a loud one widens nothing.
/// Spread   a few spots tell it badly, too small by chance as often as too large. `spread_db`, known beforehand,
///          counts as much as `kWorth` spots: a scaled inverse chi-square with as many degrees of freedom.
/// Sums     over a grid of middles and spreads; the middle may be anything.
/// Reach    tests/dsp/sound_spots_test.cpp: where sound spots are apart as foreseen, or half as far, 95 % intervals
///          hold 95 % and more. Where half as much again they hold 89 to 93 %, and a test at 5 % over all spots
///          gives a false alarm in up to 19 %.
/// Errors   std::invalid_argument without a figure, or if one is not finite, or for a spread of 0 and less.
class SoundSpots {
   public:
    static constexpr double kWorth = 5.0;
    SoundSpots(std::span<const SpotFigure> others, double spread_db);
    [[nodiscard]] double middle_db() const noexcept { return middle_db_; }
    /// Chance that a sound spot whose own recording leaves `variance` open is at least this loud.
    [[nodiscard]] double as_loud(double value_db, double variance) const noexcept;
    /// Below which a share 0..1 of such spots lies; to 0.01 dB.
    [[nodiscard]] double quantile_db(double share, double variance) const noexcept;

   private:
    struct Guess {
        double middle_db, variance, weight;
    };
    std::vector<Guess> guesses_;
    double middle_db_ = 0.0;
};

}  // namespace idlehark
