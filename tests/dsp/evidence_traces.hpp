#pragma once

#include "dsp/evidence/spray_test.hpp"
#include "dsp/sim/session.hpp"

#include <cmath>
#include <random>
#include <span>
#include <string>
#include <vector>

namespace idlehark::test {

/// What a good tracker would read: the true speed, averaged over 0.3 s, with independent reading noise.
inline std::vector<RpmReading> read_speed(const sim::SpeedPath& path, double noise_rpm, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0.0, noise_rpm);
    std::vector<RpmReading> readings;
    for (double t = 0.3; t < path.duration_s() - 0.3; t += 0.1) {
        const double rpm = path.mean_rpm(t - 0.15, t + 0.15) + normal(random);
        readings.push_back({t, rpm, rpm - 2.0 * noise_rpm, rpm + 2.0 * noise_rpm, true});
    }
    return readings;
}

inline std::vector<SprayBurst> marked_bursts(const sim::Session& session) {
    std::vector<SprayBurst> bursts;
    for (const auto& m : session.marks()) bursts.push_back({m.time_s, m.spot, {}, {}});
    return bursts;
}

inline std::vector<SpraySpot> mapped_spots(const sim::SessionSpec& spec) {
    std::vector<SpraySpot> spots;
    for (const auto& s : spec.spots) spots.push_back({s.id, Place{s.x_mm, s.y_mm}});
    return spots;
}

/// Spots in a row, so far apart that no spray drifts from one to another.
inline std::vector<SpraySpot> far_apart_spots(std::size_t count) {
    std::vector<SpraySpot> spots;
    for (std::size_t s = 0; s < count; ++s)
        spots.push_back({std::to_string(s + 1), Place{300.0 * static_cast<double>(s), 0.0}});
    return spots;
}

}  // namespace idlehark::test
