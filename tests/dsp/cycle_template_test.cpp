#include "dsp/track/cycle_template.hpp"

#include "dsp/track/timeline.hpp"
#include "tests/dsp/steady_cycle.hpp"

#include <cmath>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kSegment_s = 2.0;
constexpr double kCycle_hz = 7.1;
constexpr double kHighest_hz = 640.0;
constexpr double kToneHighest_hz = 420.0;

/// Seven seconds of four cylinders' firing lines and of other tones in noise of unit power.
Timeline sound_of(double rate_hz, std::span<const double> tones_hz) {
    Timeline sound(rate_hz, 0.0);
    std::mt19937 random(5);
    std::normal_distribution<float> noise(0.F, 1.F);
    constexpr int kLines = 14;
    for (std::size_t n = 0; n < static_cast<std::size_t>(7.0 * rate_hz); ++n) {
        const double t = 2.0 * std::numbers::pi * static_cast<double>(n) / rate_hz;
        double sum = 0.0;
        for (int i = 1; i <= kLines; ++i) sum += 0.4 * std::sin(4.0 * i * kCycle_hz * t + i * i);
        for (const double hz : tones_hz) sum += 0.6 * std::sin(hz * t + hz);
        sound.push(static_cast<float>(sum) + noise(random));
    }
    return sound;
}

void hear(CycleTemplate& signal, const Timeline& sound, double first_s, const CyclePath& path) {
    signal.take(sound, first_s, path.start_s, 0.97 * kCycle_hz, 1.03 * kCycle_hz);
    signal.cut_foreign_tones(path, kToneHighest_hz);
}

}  // namespace

TEST_CASE("CycleTemplate: a segment comes out the same whatever was heard before", "[dsp][track]") {
    // The second rate's segment is no length that transforms well, so it is filled up.
    for (const double rate_hz : {2000.0, 44100.0 / 21.0 - 50.0}) {
        CAPTURE(rate_hz);
        const auto sound = sound_of(rate_hz, std::vector<double>{180.0, 245.3});
        const auto path = test::steady_cycle(kCycle_hz, kSegment_s);
        CycleTemplate fresh(rate_hz, kSegment_s, kHighest_hz, 512), used(rate_hz, kSegment_s, kHighest_hz, 512);
        hear(used, sound, 1.0, path);
        hear(used, sound, 3.0, path);
        hear(fresh, sound, 3.0, path);
        CHECK(fresh.foreign_share() > 0.0);
        CHECK(used.foreign_share() == fresh.foreign_share());
        CHECK(used.lines_over_noise(path, 1.0, 300.0) == fresh.lines_over_noise(path, 1.0, 300.0));
    }
}

TEST_CASE("CycleTemplate: counts tones that are no lines of the cycle, hum apart", "[dsp][track]") {
    constexpr double kRate_hz = 2000.0;
    const auto path = test::steady_cycle(kCycle_hz, kSegment_s);
    CycleTemplate signal(kRate_hz, kSegment_s, kHighest_hz, 512);
    const auto tones = [&](std::vector<double> tones_hz) {
        hear(signal, sound_of(kRate_hz, tones_hz), 3.0, path);
        CHECK(signal.lines() >= 14);
        return signal.foreign_tones_per_line() * static_cast<double>(signal.lines());
    };
    CHECK(tones({}) == Approx(0.0).margin(1e-9));
    CHECK(tones({131.0, 174.6, 208.3, 233.1}) == Approx(4.0));
    CHECK(tones({50.0, 150.0, 180.0, 131.0}) == Approx(1.0));
}
