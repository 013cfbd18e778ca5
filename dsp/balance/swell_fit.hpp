#pragma once

#include "dsp/balance/cycle_bins.hpp"
#include "dsp/engine.hpp"

#include <vector>

#include <Eigen/Dense>

namespace idlehark {

/// The mean cycle of every band as a floor and one swell per firing. The swell's end is chosen per band from a small
/// grid, its place is common to all bands.
struct SwellFit {
    double onset_cycles = 0.0;      ///< of the first firing of the pattern, 0..1; at evenly firing engines below 1/N
    Eigen::Index over_the_end = 0;  ///< from this firing of the pattern on they sound after the cycle's end, in the
                                    ///< next row; as many as there are: none does (evenly firing engines)
    double explained = 0.0;         ///< share of the bands' swell (sum of squares over noise) that the fit explains
    struct Band {
        double floor = 0.0;
        Eigen::VectorXd swell;                 ///< per firing, in the band's power
        Eigen::MatrixXd functional;            ///< firings x bins: swells of a row = functional * (row - floor)
        bool tells = false;                    ///< its swell stands out of its own scatter
        std::vector<Eigen::VectorXd> without;  ///< the swells with each tenth of the cycles left out
    };
    std::vector<Band> bands;
};

[[nodiscard]] SwellFit fit_swells(const CycleBins& cut, const Engine& engine, double cycle_hz);

}  // namespace idlehark
