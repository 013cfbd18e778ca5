#pragma once

#include "dsp/balance/swell_fit.hpp"
#include "dsp/engine.hpp"

#include <limits>
#include <vector>

namespace idlehark {

inline constexpr double kWeakBelow = 0.75;  ///< of the others' strength: a cylinder that may be called weak

/// How loud a cylinder's firings are against the middle of the others, amplitude, natural logarithm.
struct Strength {
    double log = 0.0;
    double sd = std::numeric_limits<double>::infinity();  ///< infinite: no band tells
    double spread = 0.0;                                  ///< how far its bands disagree
    double largest_z = 0.0;                               ///< the band furthest off, in deviations of its own noise
    std::size_t bands = 0;                                ///< that tell
};

struct Strengths {
    std::vector<Strength> each;  ///< per firing of the pattern
    /// 1: of a half that stands apart below the other, and not weak among that half: a row of a vee or flat engine that
    /// is further from the microphone sounds so. Fours stand in one row unless stated.
    std::vector<char> soft;
};

/// Strength of every cylinder over all bands that tell. What leaves it open: each band's noise; how far bands of one
/// cylinder disagree beyond it; and what is off in all of them together, which no sound can tell from strength: the
/// way to the microphone, what else sounds in that place of the cycle. How much that is the cylinders say that are not
/// under suspicion, by how far they lie apart themselves.
[[nodiscard]] Strengths strengths(const SwellFit& fit, const Engine& engine);

}  // namespace idlehark
