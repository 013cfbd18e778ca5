#include "dsp/evidence/coloured_noise.hpp"
#include "dsp/evidence/disturbances.hpp"
#include "dsp/evidence/disturbed_share.hpp"
#include "dsp/evidence/response_bank.hpp"
#include "dsp/evidence/sham_null.hpp"
#include "dsp/evidence/speed_trace.hpp"
#include "tests/dsp/evidence_traces.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include <catch2/catch.hpp>

#include <Eigen/Dense>

using namespace idlehark;
using namespace idlehark::evidence;

namespace {

std::vector<double> autoregression(std::size_t n, unsigned seed) {
    // A hunting peak: poles at radius 0.95, a swing every 16 cells, around 800 rpm.
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<double> x(n + 200, 800.0);
    const double a1 = 2.0 * 0.95 * std::cos(2.0 * std::acos(-1.0) / 16.0), a2 = -0.95 * 0.95;
    for (std::size_t t = 2; t < x.size(); ++t)
        x[t] = 800.0 + a1 * (x[t - 1] - 800.0) + a2 * (x[t - 2] - 800.0) + 1.5 * normal(random);
    return {x.begin() + 200, x.end()};
}

}  // namespace

TEST_CASE("resample: weighs locked readings and leaves gaps unseen", "[dsp][evidence]") {
    std::vector<RpmReading> readings;
    for (int i = 0; i < 100; ++i) {
        const double t = 0.1 * i;
        readings.push_back({t, 800.0 + t, 799.0 + t, 801.0 + t, !(t > 4.0 && t < 6.0)});
    }
    readings[20].rpm_low = 0.0;  // the tracker was guessing: does not count
    readings[20].rpm = 1600.0;
    const auto trace = resample(readings, 0.25);
    REQUIRE(trace.size() == 41);  // the last reading, at 9.9 s, is nearest to 40 cells of 0.25 s
    CHECK(trace.start_s == 0.0);
    CHECK(trace.seen[static_cast<std::size_t>(trace.index(3.0))]);
    CHECK_FALSE(trace.seen[static_cast<std::size_t>(trace.index(5.0))]);
    for (std::size_t i = 0; i < trace.size(); ++i) CHECK(trace.rpm[i] == Approx(800.0 + trace.time_s(i)).margin(0.15));
    CHECK(resample({}, 0.25).size() == 0);
}

TEST_CASE("resample: a second of wild readings that were sure is not seen, a step, a surge and an answer are",
          "[dsp][evidence]") {
    std::mt19937 random(21);
    std::normal_distribution<double> normal(0.0, 2.0);
    const double pi = std::acos(-1.0);
    std::vector<RpmReading> readings;
    for (int i = 0; i < 1200; ++i) {
        const double t = 0.1 * i;
        double rpm = 800.0 + normal(random);
        if (t >= 20.0) rpm += 60.0;  // a load that stays
        if (t >= 40.0 && t < 60.0)   // surging at 0.5 Hz that comes and goes
            rpm += 60.0 * std::sin(pi * (t - 40.0) / 20.0) * std::sin(pi * (t - 40.0));
        if (t >= 80.0) rpm += 50.0 * std::exp(-(t - 80.0) / 1.5);  // the briefest answer
        if (t >= 100.0 && t < 101.0) rpm *= 1.5;                   // the tracker slipped
        readings.push_back({t, rpm, rpm - 1.0, rpm + 1.0, true});
    }
    const auto trace = resample(readings, 0.25);
    for (std::size_t i = 0; i < trace.size(); ++i) {
        const double t = trace.time_s(i);
        CAPTURE(t);
        if (std::abs(t - 100.0) < 0.2 || std::abs(t - 101.0) < 0.2) continue;  // cells of both kinds
        CHECK((trace.seen[i] != 0) == !(t > 100.0 && t < 101.0));
    }
}

TEST_CASE("learn_noise: finds an autoregression in spite of steps", "[dsp][evidence]") {
    const unsigned seed = GENERATE(1u, 2u, 3u);
    auto x = autoregression(3000, seed);
    for (std::size_t t = 1500; t < x.size(); ++t) x[t] += 30.0;
    const auto noise = learn_noise(x, std::vector<char>(x.size(), 1), 20, 0.25);
    REQUIRE(noise.ar.size() >= 2);
    // The spectrum peaks where the poles are: a 0.2 % shift in period is far beyond what 3000 cells can tell.
    const auto gain = [&](double cells) {
        double re = 0.0, im = 0.0;
        const auto c = noise.whitening();
        for (std::size_t k = 0; k < c.size(); ++k) {
            re += c[k] * std::cos(2.0 * std::acos(-1.0) / cells * static_cast<double>(k));
            im += c[k] * std::sin(2.0 * std::acos(-1.0) / cells * static_cast<double>(k));
        }
        return 1.0 / (re * re + im * im);
    };
    CHECK(gain(16.0) > 20.0 * gain(6.0));
    CHECK(noise.innovation_rpm == Approx(1.5).epsilon(0.06));  // sd of a sd from 3000: 1.3 %, weights cost 2 %
}

TEST_CASE("WhitenedTrace: an amplitude and its variance agree with dense generalised least squares, gaps included",
          "[dsp][evidence]") {
    const auto x = autoregression(160, 4);
    std::vector<char> seen(x.size(), 1);
    for (const std::size_t i : {60u, 61u, 62u, 70u, 85u, 86u}) seen[i] = 0;
    ColouredNoise noise;
    noise.ar = {1.6, -0.8, 0.1};
    noise.level_rpm = 800.0;
    noise.innovation_rpm = 1.5;
    const WhitenedTrace white(x, seen, noise);
    const auto shape = sampled({1.0, 0.6, 3.0, 0.0}, 0.25, 0.4);
    const long cell = 58;
    const auto got = white.score(white.probe(shape), cell);

    // Reference: rows from the fourth on, one column for the shape and one for each cell not seen.
    std::vector<std::size_t> missing;
    for (std::size_t i = 0; i < x.size(); ++i)
        if (!seen[i]) missing.push_back(i);
    const auto c = noise.whitening();
    const auto whiten = [&](auto value) {
        Eigen::VectorXd out(static_cast<Eigen::Index>(x.size() - 3));
        for (std::size_t t = 3; t < x.size(); ++t) {
            double e = 0.0;
            for (std::size_t k = 0; k < 4; ++k) e += c[k] * value(t - k);
            out(static_cast<Eigen::Index>(t - 3)) = e / 1.5;
        }
        return out;
    };
    Eigen::MatrixXd design(static_cast<Eigen::Index>(x.size() - 3), static_cast<Eigen::Index>(missing.size() + 1));
    design.col(0) = whiten([&](std::size_t i) {
        const long k = static_cast<long>(i) - cell;
        return k >= 0 && k < static_cast<long>(shape.size()) ? shape[static_cast<std::size_t>(k)] : 0.0;
    });
    for (std::size_t m = 0; m < missing.size(); ++m)
        design.col(static_cast<Eigen::Index>(m + 1)) =
            whiten([&](std::size_t i) { return i == missing[m] ? 1.0 : 0.0; });
    const Eigen::VectorXd y = whiten([&](std::size_t i) { return seen[i] ? x[i] - 800.0 : 0.0; });
    const Eigen::MatrixXd normal = design.transpose() * design;
    const Eigen::VectorXd fit = normal.ldlt().solve(design.transpose() * y);
    const double variance = normal.inverse()(0, 0);
    CHECK(got.score / got.information == Approx(fit(0)).epsilon(1e-6));
    CHECK(1.0 / got.information == Approx(variance).epsilon(1e-6));
}

TEST_CASE("sampled: a shape rises to 1 and returns; a regulated one is taken back below 0", "[dsp][evidence]") {
    const auto free_running = sampled({1.5, 0.6, 3.0, 0.0}, 0.25, 0.4);
    const double top = *std::max_element(free_running.begin(), free_running.end());
    CHECK(top == Approx(1.0).margin(0.1));  // cell and tracker window blunt the peak
    CHECK(std::abs(free_running.back()) < 0.1);
    const auto taken_back = sampled({1.5, 0.6, 3.0, 2.0}, 0.25, 0.4);
    CHECK(*std::min_element(taken_back.begin(), taken_back.end()) < -0.1);
}

TEST_CASE("find_disturbances: finds load steps where they are and takes them out", "[dsp][evidence]") {
    const unsigned seed = GENERATE(11u, 12u, 13u);
    SpeedTrace trace;
    trace.step_s = 0.25;
    trace.rpm = autoregression(1600, seed);
    trace.seen.assign(trace.rpm.size(), 1);
    CHECK(find_disturbances(trace, 20).steps.size() <= 1);  // nothing there
    for (std::size_t t = 600; t < 1000; ++t) trace.rpm[t] -= 35.0;
    const auto found = find_disturbances(trace, 20);
    REQUIRE(found.steps.size() >= 2);
    for (const double time_s : {150.0, 250.0})
        CHECK(std::any_of(found.steps.begin(), found.steps.end(),
                          [&](const FoundStep& s) { return std::abs(s.time_s - time_s) < 1.0; }));
}

TEST_CASE("find_disturbances: firings that fail are no load steps", "[dsp][evidence]") {
    const unsigned seed = GENERATE(11u, 12u, 13u);
    CAPTURE(seed);
    sim::SpeedPathSpec spec;
    spec.duration_s = 400.0;
    spec.seed = seed;
    spec.wander_rpm = 3.0;
    spec.wander_time_s = 2.0;
    const sim::SpeedPath even(spec);
    std::vector<double> speeds_rpm;
    for (double t = 0.0; t < spec.duration_s; t += 1.0 / sim::SpeedPath::kRate_hz)
        speeds_rpm.push_back(even.mean_rpm(t, t + 1.0 / sim::SpeedPath::kRate_hz));
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> part(0.0, 1.0);
    for (double at_s = 12.0; at_s < 390.0; at_s += 8.0 + 12.0 * part(random)) {  // a fall at once, soon made good
        const double fall_rpm = 12.0 + 12.0 * part(random), return_s = 0.3 + 0.6 * part(random);
        for (std::size_t i = 0; i < speeds_rpm.size(); ++i)
            if (const double since_s = static_cast<double>(i) / sim::SpeedPath::kRate_hz - at_s; since_s >= 0.0)
                speeds_rpm[i] -= fall_rpm * std::exp(-since_s / return_s);
    }
    const auto noise_of = [&](const sim::SpeedPath& path) {
        return find_disturbances(resample(test::read_speed(path, 0.3, seed), 0.25), 20);
    };
    const auto found = noise_of(sim::SpeedPath(speeds_rpm));
    CHECK(found.steps.size() <= 2);
    CHECK(found.noise.innovation_rpm < 1.15 * noise_of(even).noise.innovation_rpm);
}

TEST_CASE("disturbed_share: tells how often something falls on a burst, though each time it is too small to be sure of",
          "[dsp][evidence]") {
    const unsigned seed = GENERATE(11u, 12u, 13u);
    const bool loads = GENERATE(false, true);
    CAPTURE(seed, loads);
    auto rpm = autoregression(3200, seed);
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> part(0.0, 1.0);
    double level = 0.0, next = 40.0;
    for (std::size_t t = 0; loads && t < rpm.size(); ++t) {  // one in 20 s
        if (static_cast<double>(t) >= next) {
            level = level > 0.0 ? 0.0 : 14.0;
            next += 40.0 + 80.0 * part(random);
        }
        rpm[t] += level;
    }
    const std::vector<char> seen(rpm.size(), 1);
    const WhitenedTrace white(rpm, seen, learn_noise(rpm, seen, 20, 0.25));
    const double share = disturbed_share(white, 0.25, response_bank(false), {}, 20.0);
    if (loads) {  // in a second
        CHECK(share > 0.02);
        CHECK(share < 0.1);
    } else {
        CHECK(share < 0.01);
    }
    // What follows a burst may be its answer, and does not count.
    std::vector<long> all;
    for (long cell = 0; cell < 3200; cell += 20) all.push_back(cell);
    CHECK(disturbed_share(white, 0.25, response_bank(false), all, 20.0) == Approx(0.01));
}

TEST_CASE("ShamNull: rare shams that fare far better keep their share", "[dsp][evidence]") {
    // Two of three bursts upon load steps: three shams in two hundred, their odds 14 more.
    const unsigned seed = GENERATE(31u, 32u, 33u);
    CAPTURE(seed);
    std::mt19937_64 random(seed);
    std::exponential_distribution<double> draw(1.2);
    std::vector<double> shams(2000);
    for (std::size_t i = 0; i < shams.size(); ++i) shams[i] = draw(random) + (i % 200 < 3 ? 14.0 : 0.0);
    const ShamNull null(shams, 1e4);
    CHECK(null.p_value(15.0) > 0.0022);  // half of the share, 0.015 / e^1.2
    CHECK(null.p_value(30.0) < 1e-3);
}

TEST_CASE("ShamNull: p-values of exponential odds are their share, beyond the shams too", "[dsp][evidence]") {
    const unsigned seed = GENERATE(21u, 22u, 23u);
    const double rate = GENERATE(0.8, 1.2);  // disturbed idles have the heavy tails
    CAPTURE(seed, rate);
    std::mt19937_64 random(seed);
    std::exponential_distribution<double> draw(rate);
    std::vector<double> shams(2000);
    for (double& v : shams) v = draw(random);
    const ShamNull null(shams, 1e4);  // all independent
    for (const double share : {0.5, 0.05, 0.004, 1e-4}) {
        const double at = -std::log(share) / rate;
        // The tail's rate is known to one in the root of 200 shams: that much of the excess is uncertain.
        CHECK(std::log(null.p_value(at)) == Approx(std::log(share)).margin(0.15 + 0.2 * std::log(0.5 / share)));
    }
    CHECK(null.p_value(-1.0) == Approx(1.0));
    CHECK_THROWS_AS(ShamNull({}, 10.0), std::invalid_argument);
}
