#pragma once

#include "dsp/engine.hpp"
#include "dsp/track/coarse_path.hpp"
#include "dsp/track/coherent_search.hpp"
#include "dsp/track/cycle_template.hpp"
#include "dsp/track/cylinder_count.hpp"
#include "dsp/track/front_end.hpp"
#include "dsp/track/speed_smoother.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

/// A refined speed with the standard deviation that the sound supports.
struct FinePoint {
    double time_s = 0.0;
    double cycle_hz = 0.0;
    double variance = 0.0;       ///< Hz^2, at this time
    double walk_variance = 0.0;  ///< Hz^2 per second: what the speed may do between points
};

/// Refines a coarse speed path by the phase of the whole comb.
/// Two seconds of each signal are whitened and their mean cycle along the path becomes a template; each firing is
/// compared with the template and its derivative, which gives its phase against the path and the information in it (a
/// Gauss-Newton step of the maximum likelihood); a Kalman smoother joins the firings. Repeated with ever higher lines,
/// since a better path gives a sharper template. In faint sound and beside foreign tones a CoherentSearch puts the path
/// right beforehand; where something louder drowns the engine for a moment (the can's own hiss), it decides whether the
/// path went astray there.
class PhaseRefiner {
   public:
    PhaseRefiner(const Signals& rates, const Engine& engine, int firing_pattern_repeats);

    static constexpr double kSegment_s = 2.0;
    /// Refines the segment that ends at `end_s`; `path` covers it in time order. Returns a point a block, in order.
    [[nodiscard]] const std::vector<FinePoint>& refine(const Signals& sound, std::span<const CoarsePoint> path,
                                                       double end_s);
    /// The last segment is tones rather than an engine: far more of them are foreign than lines of the cycle (music),
    /// or the cycle stands clear and yet has hardly a line (a fan).
    [[nodiscard]] bool tones_only() const noexcept;
    /// Lets the cylinder count hear the last segment.
    void hear_count(CylinderCount& count);

   private:
    void lay_reference();
    void lay_grids(std::span<const CoarsePoint> path, double first_s);
    void lay_path(std::span<const CoarsePoint> path, double first_s);
    SpeedShift prefer_bridge(std::span<const CoarsePoint> bridged, double first_s);
    [[nodiscard]] CyclePath along(const std::vector<double>& grid) const;
    [[nodiscard]] SpeedShift listen_along(const CyclePath& path);
    void take_reference();
    void join_in_the_middle();
    void straighten(const SpeedShift& along_path);
    void move_path(std::span<const SpeedSmoother::Speed> change);

    int repeats_;
    double blocks_per_cycle_;
    double surge_scale_;  ///< cycle frequency of 1 rpm, Hz
    std::vector<CycleTemplate> signals_;
    SpeedSmoother smoother_;
    CoherentSearch search_;
    SpeedShift shift_;                                 ///< that the last path was moved by
    CyclePath path_;                                   ///< what the sound is compared along; improves with every pass
    CyclePath reference_;                              ///< smooth; what the speed's random walk departs from
    std::vector<double> coarse_, near_, far_, plain_;  ///< plain: a parabola
    DrownedFrames drowned_;
    std::vector<double> gradient_, information_;
    std::vector<PhaseMeasurement> measured_;
    std::vector<FinePoint> out_;
};

}  // namespace idlehark
