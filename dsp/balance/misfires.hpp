#pragma once

#include "dsp/balance/cycle_bins.hpp"
#include "dsp/balance/firing_fit.hpp"
#include "dsp/balance/swell_fit.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// Firings that are missing, counted.
/// Each firing's swells and its strength in the waveform become its presence, 1 when it is there as usual, 0 when it is
/// missing; what a missing one would look like is taken from the same sound, with the firing's swell taken out of the
/// bands and nine tenths of it out of the waveform. The bands and the waveform are weighted so that missing ones stand
/// out most. Of a cylinder whose firings lie in two heaps the upper one is the usual, however many are missing. A
/// firing counts the more the nearer it is to a missing one; what healthy scatter counts is taken from the mirror
/// images (above one), the other cylinders, and what those have beyond their own mirror images, whichever is the most.
/// That any are missing at all is told by the likelihood ratio of a tenth missing to none, against the same.
struct MisfireCount {
    struct Cylinder {
        double share = 0.0, low = 0.0, high = 0.0;  ///< of its firings, 95 % interval
        double p = 1.0;                             ///< that healthy scatter gives so many
        /// What is heard of it tells one firing from another. False where it scatters more than being weak explains:
        /// so many may be missing that the ordinary ones are not known.
        bool told = true;
    };
    std::vector<Cylinder> cylinders;  ///< in the order of `places`
    double sd = 0.0;                  ///< of the presence of a healthy firing
    double room = 0.0;                ///< how much more a missing firing counts than a healthy one, 0..1
    bool tells = false;               ///< there is such room
};

/// `strength`: each cylinder's against the others', in the order of `places`.
[[nodiscard]] MisfireCount count_misfires(const CycleBins& cut, const SwellFit& fit, const FiringFit& firings,
                                          std::span<const double> strength);

}  // namespace idlehark
