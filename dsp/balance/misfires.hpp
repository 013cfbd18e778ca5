#pragma once

#include "dsp/balance/cycle_bins.hpp"
#include "dsp/balance/swell_fit.hpp"

#include <vector>

namespace idlehark {

/// Firings that are missing, counted one by one.
/// Each firing's swells and the projection of its low waveform on the mean one become its presence, 1 when it is there
/// as usual, 0 when nothing is left; bands are weighted as their covariance asks (the direction of a missing firing is
/// known beforehand). A firing below half is counted. Healthy scatter also falls below half now and then: how often is
/// taken from the mirror image (above one and a half) and from the other cylinders, whichever is more.
struct MisfireCount {
    struct Cylinder {
        double share = 0.0, low = 0.0, high = 0.0;  ///< of its firings, 95 % interval
        double p = 1.0;                             ///< that healthy scatter gives so many
    };
    std::vector<Cylinder> cylinders;  ///< in the order of `places`
    double sd = 0.0;                  ///< of the presence of a healthy firing
    bool tells = false;               ///< single firings are heard: the scatter leaves room below half
};

[[nodiscard]] MisfireCount count_misfires(const CycleBins& cut, const SwellFit& fit, const std::vector<double>& places);

}  // namespace idlehark
