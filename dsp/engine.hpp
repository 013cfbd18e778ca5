#pragma once

#include "dsp/units.hpp"

#include <string>
#include <vector>

namespace idlehark {

enum class Injection { simultaneous, grouped, sequential };
enum class IdleControl { fixed, regulated };

/// What the user states about the engine (engine file). Plain value; `check()` says whether it can exist.
struct Engine {
    std::string name;
    int cylinders = 4;                      ///< 1..12
    int strokes = 4;                        ///< 4: one cycle is two crank turns; 2: one crank turn
    std::vector<int> firing_order;          ///< a permutation of 1..cylinders; empty: 1,2,3,...
    std::vector<double> firing_angles_deg;  ///< crank angle of each firing, in firing order, from 0, ascending, below
                                            ///< the cycle; empty: even. Odd-fire engines state it.
    double idle_low_rpm = 700.0;
    double idle_high_rpm = 950.0;
    Injection injection = Injection::sequential;
    IdleControl idle_control = IdleControl::fixed;
    std::vector<std::vector<int>> injection_groups;  ///< cylinders per group when grouped
    std::vector<std::vector<int>> banks;  ///< cylinders of each row, front to rear: one list in line, two for a vee or
                                          ///< a flat engine; empty: not stated
    friend bool operator==(const Engine&, const Engine&) = default;
};

/// Crank degrees of one working cycle: 720 (four-stroke) or 360 (two-stroke).
[[nodiscard]] double cycle_deg(const Engine& e) noexcept;

/// Angle of every firing as a fraction 0..1 of the cycle, in firing order, even spacing unless stated.
[[nodiscard]] std::vector<double> firing_fractions(const Engine& e);

/// Working cycles per second at a crank speed: rpm/120 (four-stroke), rpm/60 (two-stroke).
[[nodiscard]] Hertz cycle_frequency(const Engine& e, Rpm speed) noexcept;
/// Firings per second: cylinders times the cycle frequency.
[[nodiscard]] Hertz firing_frequency(const Engine& e, Rpm speed) noexcept;
/// Inverse of `cycle_frequency`.
[[nodiscard]] Rpm speed_from_cycle_frequency(const Engine& e, Hertz cycle) noexcept;

/// The rows of cylinders as stated; else one row up to seven cylinders and for odd counts, two halves from eight on
/// (common practice, no source).
[[nodiscard]] std::vector<std::vector<int>> cylinder_banks(const Engine& e);

/// Throws std::invalid_argument naming the field, the value and the allowed range if the engine cannot exist.
void check(const Engine& e);

}  // namespace idlehark
