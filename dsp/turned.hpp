#pragma once

#include <cmath>
#include <complex>
#include <numbers>

namespace idlehark {

/// exp(-2 pi i cycles): what takes so many turns out of a phase. Whole cycles are left out first, so that it is as
/// exact hours into a recording as at its start.
[[nodiscard]] inline std::complex<double> turned(double cycles) {
    return std::polar(1.0, -2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
}

}  // namespace idlehark
