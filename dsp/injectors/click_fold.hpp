#pragma once

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/click_path.hpp"
#include "dsp/injectors/crank_clock.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

/// Time of a place in the cycle: so far after the strongest click of cycle k.
class CyclePlaces {
   public:
    CyclePlaces(const CrankClock& clock, const ClickPath& path);
    [[nodiscard]] std::size_t cycles() const { return at_.size(); }
    [[nodiscard]] double time_s(std::size_t k, double after_cycles) const;

   private:
    const CrankClock& clock_;
    std::vector<double> at_;
};

/// Mean power at every place of the cycle, from a quarter before the strongest click on, and the standard error of that
/// where it is quiet.
struct ClickFold {
    std::vector<double> power;
    double error = 0.0;
};
/// Input    weights: one a band; places kFoldStep_s apart.
[[nodiscard]] ClickFold fold_clicks(const ClickBands& bands, std::span<const double> weights, const CrankClock& clock,
                                    const ClickPath& path);
inline constexpr double kFoldStep_s = 0.5e-3;

/// How far the strongest click may be from where the path has it.
inline constexpr double kPlaceSide_s = 4e-3;
/// Clear of the clicks at another place.
inline constexpr double kClearOfPlace_s = 9e-3;

/// The strongest click of a fold (in units of its quiet part), as laid over other places of it.
class FoldedClick {
   public:
    explicit FoldedClick(std::span<const double> fold);
    /// Energy of what clicks at place m, over what sounds about it (combustion noise comes and goes with every
    /// firing), in units of the strongest click's.
    [[nodiscard]] double at(std::size_t m) const;
    /// The most at about a place so far after the strongest click.
    [[nodiscard]] double near(double after_cycles) const { return most_near(after_cycles).energy; }
    /// Where that is, in cycles after the strongest click.
    [[nodiscard]] double place_near(double after_cycles) const { return most_near(after_cycles).after_cycles; }
    /// What a place must have to count as heard: more than chance gives (`error` is the fold's), and more than what
    /// ticks between the places, which are the engine's.
    [[nodiscard]] double threshold(double error, std::span<const double> places) const;

   private:
    struct Found {
        double energy, after_cycles;
    };
    [[nodiscard]] Found most_near(double after_cycles) const;
    [[nodiscard]] double floor_at(std::size_t m) const;

    std::span<const double> fold_;
    std::size_t top_ = 0;
    std::vector<double> weight_;
};

}  // namespace idlehark
