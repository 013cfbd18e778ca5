#pragma once

#include "dsp/sim/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

namespace idlehark::test {

/// A second simulated engine that shares nothing with sim::EngineSound, to see whether figures hold on sounds they were
/// not developed on: every firing strikes the same six resonances, more or less of each by cylinder, and all of them
/// together more or less from firing to firing; no ticks, no flow, no bass, and white noise. Nothing of it is measured
/// on an engine.
struct PlainEngine {
    int cylinders = 4;
    double rpm = 870.0;
    double seconds = 30.0;
    double scatter = 0.1;        ///< of a firing's strength
    double missing_share = 0.0;  ///< of the firings of the third cylinder
    double missing_leaves = 0.05;
    double noise_to_sound = 0.0;  ///< root mean squares, over the whole band
    std::uint64_t seed = 1;
    static constexpr double kRate_hz = 16000.0;

    struct Sound {
        std::vector<float> samples;
        double missing_percent = 0.0;  ///< as drawn
    };
    [[nodiscard]] Sound sound() const {
        struct Mode {
            double hz, per_s, size;
        };
        constexpr std::array<Mode, 6> kModes{{{180.0, 90.0, 1.0},
                                              {330.0, 120.0, 0.8},
                                              {600.0, 150.0, 0.6},
                                              {1100.0, 200.0, 0.4},
                                              {1800.0, 250.0, 0.3},
                                              {2300.0, 300.0, 0.2}}};
        constexpr double kCycleScatter = 0.002, kTimeScatter_s = 0.2e-3, kColour = 0.15, kRings_s = 0.06;
        auto random = sim::sub_stream(seed, "plain engine");
        std::vector<double> colour(kModes.size() * static_cast<std::size_t>(cylinders));
        for (double& c : colour) c = 1.0 + kColour * sim::gaussian(random);
        Sound out;
        out.samples.assign(static_cast<std::size_t>(seconds * kRate_hz), 0.F);
        const double cycle_s = 120.0 / rpm;
        int missing = 0, due = 0;
        for (double t = 0.03; t + 0.3 < seconds; t += cycle_s * (1.0 + kCycleScatter * sim::gaussian(random)))
            for (int j = 0; j < cylinders; ++j) {
                double strength = 1.0 + scatter * sim::gaussian(random);
                if (j == 2) {
                    ++due;
                    if (sim::uniform(random, 0.0, 1.0) < missing_share) strength = missing_leaves, ++missing;
                }
                const double at = t + j * cycle_s / cylinders + kTimeScatter_s * sim::gaussian(random);
                const auto first = static_cast<std::size_t>(std::ceil(at * kRate_hz));
                for (std::size_t i = first; static_cast<double>(i) < (at + kRings_s) * kRate_hz; ++i) {
                    const double s = static_cast<double>(i) / kRate_hz - at;
                    double sum = 0.0;
                    for (std::size_t k = 0; k < kModes.size(); ++k)
                        sum += colour[kModes.size() * static_cast<std::size_t>(j) + k] * kModes[k].size *
                               std::exp(-kModes[k].per_s * s) * std::sin(2.0 * std::numbers::pi * kModes[k].hz * s);
                    out.samples[i] += static_cast<float>(0.1 * strength * sum);
                }
            }
        double square = 0.0;
        for (const float v : out.samples) square += static_cast<double>(v * v);
        const double noise = noise_to_sound * std::sqrt(square / static_cast<double>(out.samples.size()));
        for (float& v : out.samples) v += static_cast<float>(noise * sim::gaussian(random));
        out.missing_percent = due > 0 ? 100.0 * missing / due : 0.0;
        return out;
    }
};

}  // namespace idlehark::test
