#include "dsp/track/cylinder_count.hpp"

#include "dsp/track/line_evidence.hpp"

#include <algorithm>
#include <numeric>

namespace idlehark {

namespace {
constexpr double kHeard = 0.5;      // mean evidence a line from which the half orders of a count are heard
constexpr int kFewestSegments = 3;  // one alone may hold a passing sound
}  // namespace

void CylinderCount::reset() {
    segments_ = 0;
    counts_.clear();
    for (const int n : {2, 3, 4, 5, 6, 8}) counts_.push_back({.cylinders = n});
}

void CylinderCount::hear(const CycleTemplate& sound, const CyclePath& path, double highest_hz) {
    const double cycle_hz = (path.phase.back() - path.phase.front()) / (path.start_s.back() - path.start_s.front());
    const double noise = static_cast<double>(mean_evidence_of_noise());
    for (auto& count : counts_)
        for (int j = 1; j < count.cylinders; ++j) {
            if (std::gcd(j, count.cylinders) != 1) continue;
            for (int k = 0;; ++k) {
                const double multiple = stated_ * (k + static_cast<double>(j) / count.cylinders);
                if (multiple * cycle_hz > highest_hz) break;
                const auto power = static_cast<float>(sound.power_over_noise(path, multiple));
                count.evidence += static_cast<double>(line_evidence(power)) - noise;
                count.lines += 1.0;
            }
        }
    ++segments_;
}

int CylinderCount::likelier() const {
    if (segments_ < kFewestSegments) return 0;
    const auto mean = [](const Count& c) { return c.lines > 0.0 ? c.evidence / c.lines : 0.0; };
    const auto explains_all = [&](int cylinders) {
        return std::all_of(counts_.begin(), counts_.end(),
                           [&](const Count& c) { return mean(c) <= kHeard || cylinders % c.cylinders == 0; });
    };
    if (explains_all(stated_)) return 0;
    for (const auto& c : counts_)
        if (explains_all(c.cylinders)) return c.cylinders;
    return 0;
}

}  // namespace idlehark
