#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

/// What one block of sound says of the phase: `moved_cycles` ahead of the reference, with `information` (inverse
/// variance, per cycle squared) from the sound alone; 0 where the block says nothing.
struct PhaseMeasurement {
    double time_s = 0.0;
    double moved_cycles = 0.0;
    double information = 0.0;
};

/// Joins phase measurements into speed. Speed departs from the reference as a random walk; each measurement carries the
/// sound's noise plus a scatter of the firings themselves. How fast the speed walks and how much the firings scatter
/// are taken from the likelihood of the innovations, which fades over segments, with a prior for ordinary idle. Source
/// Kalman filter and Rauch-Tung-Striebel smoother (AIAA Journal 3 (1965) 1445); the model is our own.
class SpeedSmoother {
   public:
    /// `crank_deg_per_cycle` 720 or 360: walks and scatters are stated at the crank.
    explicit SpeedSmoother(double crank_deg_per_cycle);

    struct Speed {
        double change_hz = 0.0;  ///< cycle frequency less the reference's
        double variance = 0.0;
    };
    /// Smooths one segment. `learn` re-estimates walk and scatter (once a segment), otherwise the last ones serve.
    [[nodiscard]] const std::vector<Speed>& smooth(std::span<const PhaseMeasurement> measured, double start_sd_hz,
                                                   bool learn);
    /// Variance rate of the walk in use, Hz^2 per second: what a speed between two blocks may have done besides.
    [[nodiscard]] double walk_variance() const noexcept;

   private:
    struct Step {
        double phase_before, speed_before, pp_before, pv_before, vv_before;  // predicted
        double phase, speed, pp, pv, vv;                                     // with the block's own measurement
    };
    template <std::size_t N>
    struct States {  ///< phase, speed and their covariance, of N filters
        std::array<double, N> p, v, pp, pv, vv;
    };
    struct Fit {
        double scale, log_likelihood;
    };
    template <std::size_t N, class Keep>
    std::array<Fit, N> filter(std::span<const PhaseMeasurement> measured, double start_sd_hz, double walk_variance,
                              const std::array<double, N>& scatter_variance, Keep&& keep_states) const;

    void choose();

    double cycle_deg_;
    std::vector<double> scores_;
    double walk_rpm_, scatter_deg_;  ///< in use
    double scale_ = 1.0;
    double doubt_ = 1.0;  ///< widening of the variances for not knowing the walk
    struct Way {  ///< from the block before: time, and what the pull of the reference leaves of a speed and adds up to
        double dt = 0.0, keep = 0.0, reach = 0.0;
    };
    std::vector<Way> ways_;
    std::vector<Step> steps_;
    std::vector<Speed> out_;
};

}  // namespace idlehark
