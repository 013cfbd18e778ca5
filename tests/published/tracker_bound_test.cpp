#include "dsp/idle_tracker.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 16000.0;

/// `count` lines of the firing frequency from the `first` on, all of one amplitude, power 1 together, with as much
/// white noise as `snr_db` says.
std::vector<float> comb(double rpm, int first, int count, double snr_db, double seconds, std::uint64_t seed) {
    std::mt19937_64 random{seed};
    std::normal_distribution<double> noise{0.0, std::pow(10.0, -snr_db / 20.0)};
    std::uniform_real_distribution<double> phase{0.0, 2.0 * std::numbers::pi};
    std::vector<double> phases(static_cast<std::size_t>(count));
    for (auto& p : phases) p = phase(random);
    const double amplitude = std::sqrt(2.0 / count);
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    for (std::size_t i = 0; i < x.size(); ++i) {
        double sum = noise(random);
        for (int k = 0; k < count; ++k)
            sum += amplitude *
                   std::cos(2.0 * std::numbers::pi * (first + k) * rpm / 30.0 * static_cast<double>(i) / kRate_hz +
                            phases[static_cast<std::size_t>(k)]);
        x[i] = static_cast<float>(0.05 * sum);
    }
    return x;
}

IdleTrackerConfig four_cylinders() {
    IdleTrackerConfig config;
    config.sample_rate_hz = kRate_hz;
    config.engine.cylinders = 4;
    config.engine.idle_low_rpm = 700.0;
    config.engine.idle_high_rpm = 1000.0;
    return config;
}

/// Root mean square error of the locked readings once it has settled, rpm.
double error_rpm(double rpm, int first, int count, double snr_db, std::uint64_t seed, double& most_rpm) {
    const auto readings = track_idle(four_cylinders(), comb(rpm, first, count, snr_db, 24.0, seed));
    double square = 0.0, n = 0.0;
    for (const auto& r : readings) {
        if (r.time_s < 5.0 || r.time_s > 22.0) continue;
        REQUIRE(r.locked);
        square += (r.rpm - rpm) * (r.rpm - rpm);
        most_rpm = std::max(most_rpm, std::abs(r.rpm - rpm));
        n += 1.0;
    }
    REQUIRE(n > 100.0);
    return std::sqrt(square / n);
}

}  // namespace

TEST_CASE("Frequency bound: the tracker on a steady comb in as much noise comes near it", "[published][bound]") {
    // Harmonics of one frequency in white noise: var(w0) >= 24 s2 / (N (N^2 - 1) sum k^2 A_k^2). D. C. Rife, R. R.
    // Boorstyn, IEEE Trans. IT-20 (1974) 591 for one tone; the harmonic form from memory, constants re-derived.
    // The tracker must follow a step within half a second, so half a second of sound is what it is measured against.
    constexpr int kFirst = 6, kCount = 20;
    constexpr double kSpan_s = 0.5;
    const double n = kSpan_s * kRate_hz;
    double weighted = 0.0;
    for (int k = kFirst; k < kFirst + kCount; ++k) weighted += k * k * 2.0 / kCount;
    const double bound_rpm =
        std::sqrt(24.0 / (n * (n * n - 1.0) * weighted)) * kRate_hz / (2.0 * std::numbers::pi) * 30.0;
    double square = 0.0, most = 0.0;
    constexpr int kCombs = 6;
    for (int i = 0; i < kCombs; ++i) {
        const double e = error_rpm(742.3 + 41.0 * i, kFirst, kCount, 0.0, 500U + static_cast<std::uint64_t>(i), most);
        square += e * e / kCombs;
    }
    CAPTURE(bound_rpm, std::sqrt(square), most);
    CHECK(std::sqrt(square) < 1.5 * bound_rpm);
}

TEST_CASE("Steady combs of few lines, loud or faint, are followed without an outlier", "[published][bound]") {
    // Invented sound; what is asked is an accuracy ten times the best published one for sound at the exhaust (within 10
    // rpm over 30 to 8000 rpm: a microphone and wavelets, found as an abstract).
    struct Row {
        int first, count;
        double snr_db;
    };
    const auto row = GENERATE(Row{2, 6, 20.0}, Row{6, 6, 20.0}, Row{4, 10, 20.0}, Row{2, 6, 0.0}, Row{6, 6, 0.0});
    for (int i = 0; i < 3; ++i) {
        double most_rpm = 0.0;
        const double rms_rpm = error_rpm(768.9 + 55.0 * i, row.first, row.count, row.snr_db,
                                         900U + static_cast<std::uint64_t>(i), most_rpm);
        CAPTURE(row.first, row.count, row.snr_db, i);
        CHECK(rms_rpm < 1.0);
        CHECK(most_rpm < 10.0);
    }
}
