#pragma once

#include "dsp/track/cycle_template.hpp"

#include <vector>

namespace idlehark {

/// Asks which number of cylinders the sound between the firing lines speaks for. Half orders lie there, at multiples of
/// 1/n of the firing lines' spacing for n cylinders; those that no smaller count shares (multiples prime to n) are
/// gathered for every count, segment by segment.
class CylinderCount {
   public:
    explicit CylinderCount(int stated);
    /// A segment's whitened sound along its path; `highest_hz` of the lines to look at.
    void hear(CycleTemplate& sound, const CyclePath& path, double highest_hz);
    /// Enough segments have been heard for an answer.
    [[nodiscard]] bool asked() const noexcept { return segments_ >= kFewestSegments; }
    /// The smallest count that has all the half orders heard, where the stated one has not; 0 otherwise.
    [[nodiscard]] int likelier() const;
    /// Half orders that the stated count has not are clearly heard, and far clearer than its own.
    [[nodiscard]] bool speaks_against_stated() const;
    /// The count that divides the stated one and has all the half orders heard, some of them clearly, where the stated
    /// one's own are not: so many cylinders would sound the same, several times as fast. 0 if there is none.
    [[nodiscard]] int as_likely() const;

   private:
    static constexpr int kFewestSegments = 3;  ///< one alone may hold a passing sound
    struct Count {
        int cylinders;
        double evidence = 0.0;  ///< log likelihood ratio, less noise's mean
        double lines = 0.0;
        [[nodiscard]] double mean() const { return lines > 0.0 ? evidence / lines : 0.0; }
    };
    int stated_;
    int segments_ = 0;
    std::vector<Count> counts_;
};

}  // namespace idlehark
