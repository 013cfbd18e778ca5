#include "dsp/track/coherent_search.hpp"

#include "dsp/track/timeline.hpp"
#include "tests/dsp/steady_cycle.hpp"

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 2000.0;
constexpr double kSegment_s = 2.0;
constexpr double kCycle_hz = 6.5;
constexpr int kEvery = 4;
constexpr double kHighest_hz = 240.0;

/// Lines of equal strength at the firing multiples of a speed that departs from the path by so much about the middle of
/// the segment 3..5 s, in noise of unit power; the signal-to-noise ratio is that of all lines together.
SpeedShift search(double offset, double rise_per_s, double snr_db, unsigned seed) {
    Timeline sound(kRate_hz, 0.0);
    std::mt19937 random(seed);
    std::normal_distribution<float> noise(0.F, 1.F);
    std::uniform_real_distribution<double> any(0.0, 1.0);
    const auto lines = static_cast<int>(kHighest_hz / (kCycle_hz * kEvery));
    std::vector<double> phases;
    for (int i = 0; i < lines; ++i) phases.push_back(any(random));
    const double amplitude = std::sqrt(2.0 * std::pow(10.0, snr_db / 10.0) / lines);
    for (std::size_t n = 0; n < static_cast<std::size_t>(8.0 * kRate_hz); ++n) {
        const double t = static_cast<double>(n) / kRate_hz - 4.0;
        const double cycles = kCycle_hz * (t * (1.0 + offset) + 0.5 * rise_per_s * t * t);
        double sum = 0.0;
        for (int i = 0; i < lines; ++i)
            sum += std::sin(2.0 * std::numbers::pi * (kEvery * (i + 1) * cycles + phases[static_cast<std::size_t>(i)]));
        sound.push(static_cast<float>(amplitude * sum) + noise(random));
    }
    const auto path = test::steady_cycle(kCycle_hz, kSegment_s);
    CycleTemplate signal(kRate_hz, kSegment_s, 640.0, 512);
    signal.take(sound, 3.0, path.start_s, 0.97 * kCycle_hz, 1.03 * kCycle_hz);
    CoherentSearch coherent(kSegment_s);
    coherent.hear(signal, path, kEvery, kHighest_hz);
    return coherent.best();
}

}  // namespace

TEST_CASE("CoherentSearch: finds a shift of speed within its grid in sound that is mostly noise", "[dsp][track]") {
    for (const double offset : {0.0, 0.006, -0.0165})
        for (const double rise : {0.0, 0.0099, -0.0132}) {
            CAPTURE(offset, rise);
            for (unsigned seed = 1; seed <= 3; ++seed) {
                const auto found = search(offset, rise, -9.0, seed);
                CHECK(found.offset == Approx(offset).margin(0.0016));
                CHECK(found.rise_per_s == Approx(rise).margin(0.0034));
                CHECK(std::sqrt(found.offset_variance) < 0.003);
            }
        }
}

TEST_CASE("CoherentSearch: noise alone leaves the speed open", "[dsp][track]") {
    int open = 0;
    for (unsigned seed = 100; seed < 120; ++seed) {
        const auto found = search(0.0, 0.0, -60.0, seed);
        CHECK(found.evidence < 35.0);  // lines as above give twice that
        open += std::sqrt(found.offset_variance) > 0.004;
    }
    CHECK(open >= 16);
    CHECK(search(0.0, 0.0, -9.0, 1).evidence > 50.0);
}

TEST_CASE("CoherentSearch: silence decides nothing and gives no NaN", "[dsp][track]") {
    Timeline silence(kRate_hz, 0.0);
    for (int n = 0; n < 16000; ++n) silence.push(0.F);
    const auto path = test::steady_cycle(kCycle_hz, kSegment_s);
    CycleTemplate signal(kRate_hz, kSegment_s, 640.0, 512);
    signal.take(silence, 3.0, path.start_s, 0.97 * kCycle_hz, 1.03 * kCycle_hz);
    CoherentSearch coherent(kSegment_s);
    coherent.hear(signal, path, kEvery, kHighest_hz);
    const auto found = coherent.best();
    CHECK(std::isfinite(found.evidence));
    CHECK(std::isfinite(found.offset_variance));
    CHECK(found.offset == Approx(0.0).margin(1e-9));
}
