#pragma once

#include "dsp/balance/band_split.hpp"
#include "dsp/balance/crank_path.hpp"

#include <cstddef>
#include <vector>

namespace idlehark {

/// Power of the summed cycles' lines at each multiple of the cycle's frequency, and how much of it is noise: the same
/// of the sum in which every other cycle is turned over, so that what repeats cancels.
struct CycleLines {
    int cycles = 0;                   ///< summed
    std::vector<double> line, noise;  ///< by multiple, from 0 to half of the points
};
/// The waveform at so many `points` of each usable cycle of the path, a size of `RealFft`.
[[nodiscard]] CycleLines cycle_lines(const BandSplit& sound, const CrankPath& path, const std::vector<char>& usable,
                                     std::size_t points);

}  // namespace idlehark
