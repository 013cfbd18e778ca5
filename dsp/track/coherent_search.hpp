#pragma once

#include "dsp/track/cycle_template.hpp"

#include <complex>
#include <cstddef>
#include <vector>

#include <Eigen/Dense>

namespace idlehark {

/// Relative change of a path's speed over its segment, about the segment's middle.
struct SpeedShift {
    double offset = 0.0;
    double rise_per_s = 0.0;
    double evidence = 0.0;  ///< log likelihood ratio of the lines at this shift against noise
    // What the sound leaves open.
    double offset_variance = 0.0, covariance = 0.0, rise_variance = 0.0;
};

/// Where sound is too faint for half a second to settle the speed: looks for the constant and steadily changing speed
/// along which the firing lines of a whole segment add up in phase.
/// Method   lines are demodulated along a path in short parts; every shift in a grid turns the parts' phasors against
///          one another; the sums' powers, over noise, give a capped log likelihood ratio. Phases and strengths of the
///          lines are unknown (maximum likelihood); the grid's posterior gives mean and variances.
class CoherentSearch {
   public:
    explicit CoherentSearch(double segment_s);

    void begin();
    /// Adds a signal's lines at multiples of `every` times the cycle frequency, up to `highest_hz`.
    void hear(const CycleTemplate& signal, const CyclePath& path, int every, double highest_hz);
    /// The likeliest shift and what else the sound allows.
    [[nodiscard]] SpeedShift best() const;

   private:
    double segment_s_;
    Eigen::VectorXd offsets_, rises_;
    Eigen::VectorXd from_middle_s_;  ///< of the later one of each pair of parts
    Eigen::ArrayXXf evidence_;       ///< [rise][offset]
    std::vector<std::complex<float>> phasors_;
    std::vector<Eigen::ArrayXXf> powers_;  ///< a line each, over the noise
};

}  // namespace idlehark
