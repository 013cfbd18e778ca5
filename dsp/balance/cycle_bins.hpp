#pragma once

#include "dsp/balance/band_split.hpp"
#include "dsp/balance/crank_path.hpp"

#include <cstddef>
#include <vector>

namespace idlehark {

/// A recording cut at crank angles: one row a working cycle.
struct CycleBins {
    std::size_t cycles = 0;
    std::size_t bins = 0;                   ///< per cycle, of the band powers
    std::vector<std::vector<float>> power;  ///< per band: cycles x bins, mean power over the bin
    std::vector<char> usable;               ///< cycles without a knock, a shout or silence
    double drift_cycles = 0.0;              ///< what the realignment moved, at most

    [[nodiscard]] const float* row(std::size_t band, std::size_t cycle) const {
        return power[band].data() + cycle * bins;
    }
};

/// Cuts the sound along the path. The path's drift is taken out first: a quarter of a minute's mean cycle is the
/// template that each second and a half is shifted against (all bands together), the shifts smoothed.
[[nodiscard]] CycleBins cut_cycles(const BandSplit& sound, CrankPath& path, std::size_t bins);

}  // namespace idlehark
