#pragma once

#include <span>
#include <vector>

namespace idlehark {

/// What the comb search settled for one frame.
struct CoarsePoint {
    double time_s = 0.0;
    double cycle_hz = 0.0;
    double slope_per_s = 0.0;
    double score = 0.0;  ///< of the comb, in standard deviations of noise; -infinity: nothing to hear
    bool heard = false;  ///< lets the sound into the mean cycle
};

/// Frames in which something louder drowns the engine for a moment (the can's own hiss, a passing car): the path
/// follows whatever happens to look like a comb there.
class DrownedFrames {
   public:
    /// The path with straight lines over the frames in which the comb is far fainter than it usually is; empty where
    /// that makes no difference, or where there are no other frames. Segments follow each other; this one begins at
    /// `first_s`. Valid until the next call.
    [[nodiscard]] std::span<const CoarsePoint> bridged(std::span<const CoarsePoint> path, double first_s);

   private:
    double usual_score_ = 0.0;
    std::vector<double> scores_;
    std::vector<CoarsePoint> bridged_;
};

}  // namespace idlehark
