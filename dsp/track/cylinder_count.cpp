#include "dsp/track/cylinder_count.hpp"

#include "dsp/track/line_evidence.hpp"

#include <algorithm>
#include <numeric>

namespace idlehark {

namespace {
constexpr double kHeard = 0.5;      // mean evidence a line from which the half orders of a count are heard
constexpr int kFewestSegments = 3;  // one alone may hold a passing sound
}  // namespace

CylinderCount::CylinderCount(int stated) : stated_(stated) {
    for (const int n : {2, 3, 4, 5, 6, 8}) counts_.push_back({.cylinders = n});
}

void CylinderCount::hear(const CycleTemplate& sound, const CyclePath& path, double highest_hz) {
    const double noise = static_cast<double>(mean_evidence_of_noise());
    for (auto& count : counts_) {
        const auto lines = sound.lines_over_noise(path, static_cast<double>(count.cylinders) / stated_, highest_hz);
        for (std::size_t i = 1; i < lines.size(); ++i) {
            if (std::gcd(static_cast<int>(i), count.cylinders) != 1) continue;
            count.evidence += static_cast<double>(line_evidence(lines[i])) - noise;
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
