#pragma once

#include "dsp/track/cycle_template.hpp"

#include <vector>

namespace idlehark {

/// Asks which number of cylinders the sound between the firing lines speaks for. Half orders lie there, at multiples of
/// 1/n of the firing lines' spacing for n cylinders; those that no smaller count shares (multiples prime to n) are
/// gathered for every count, on a few segments spread over the recording.
class CylinderCount {
   public:
    explicit CylinderCount(int stated);
    [[nodiscard]] bool wants_more() const noexcept { return segments_ < kMostSegments; }
    /// A segment's whitened sound along its path; `highest_hz` of the lines to look at.
    void hear(const CycleTemplate& sound, const CyclePath& path, double highest_hz);
    /// The smallest count that has all the half orders heard, where the stated one has not; 0 otherwise.
    [[nodiscard]] int likelier() const;

   private:
    static constexpr int kMostSegments = 6;
    struct Count {
        int cylinders;
        double evidence = 0.0;  ///< log likelihood ratio, less noise's mean
        double lines = 0.0;
    };
    int stated_;
    int segments_ = 0;
    std::vector<Count> counts_;
};

}  // namespace idlehark
