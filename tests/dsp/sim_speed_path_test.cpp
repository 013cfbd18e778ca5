#include "dsp/sim/speed_path.hpp"

#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace idlehark::sim;

namespace {

SpeedPathSpec everything(std::uint64_t seed) {
    SpeedPathSpec s;
    s.duration_s = 120.0;
    s.mean_rpm = 830.0;
    s.seed = seed;
    s.hunting_rpm = 7.0;
    s.surge_rpm = 20.0;
    s.wander_rpm = 4.0;
    s.random_walk_rpm = 0.5;
    s.drift_rpm_per_s = -0.05;
    s.warm_up_rpm = 60.0;
    s.natural_steps_per_min = 2.0;
    s.loads = {{40.0, -20.0, 0.5, 60.0}};
    s.bursts = {{70.0, 1.0, 15.0, {}}, {84.0, 1.5, -12.0, {}}};
    return s;
}

double standard_deviation(const std::vector<double>& x) {
    double mean = 0.0, square = 0.0;
    for (const double v : x) mean += v / static_cast<double>(x.size());
    for (const double v : x) square += (v - mean) * (v - mean) / static_cast<double>(x.size());
    return std::sqrt(square);
}

}  // namespace

TEST_CASE("SpeedPath: phase is the integral of the speed", "[dsp][sim]") {
    const auto strokes = GENERATE(2, 4);
    auto spec = everything(GENERATE(1u, 2u, 3u));
    spec.strokes = strokes;
    const SpeedPath path(spec);
    // Reference: midpoint sum on a grid 5 times finer than the path's; exact for a piecewise linear function whose
    // corners lie on the grid. Runs past the end of the path.
    constexpr double kFine_s = 1.0 / 1000.0;
    double turns = 0.0, worst = 0.0;
    for (int i = 0; i < 130000; ++i) {
        const double t = i * kFine_s;
        worst = std::max(worst, std::abs(path.turns_at(t) - turns));
        worst = std::max(worst, std::abs(path.cycles_at(t) * (strokes == 4 ? 2.0 : 1.0) - turns));
        turns += path.rpm_at(t + 0.5 * kFine_s) / 60.0 * kFine_s;
    }
    CHECK(turns > 1000.0);
    CHECK(worst < 1e-6);
    CHECK(path.mean_rpm(10.0, 12.0) == Approx(30.0 * (path.turns_at(12.0) - path.turns_at(10.0))));
}

TEST_CASE("SpeedPath: time_at_cycles undoes cycles_at, also past the end", "[dsp][sim]") {
    const SpeedPath path(everything(GENERATE(4u, 5u)));
    for (double t = 0.0; t < 150.0; t += 0.377)
        REQUIRE(path.time_at_cycles(path.cycles_at(t)) == Approx(t).margin(1e-8));
}

TEST_CASE("SpeedPath: phase never falls and stops at a stall", "[dsp][sim]") {
    auto spec = everything(6);
    spec.stall_s = 50.0;
    const SpeedPath path(spec);
    double last = 0.0;
    int falls = 0;
    for (double t = 0.0; t < 130.0; t += 0.01) {
        falls += path.cycles_at(t) < last;
        last = path.cycles_at(t);
    }
    CHECK(falls == 0);
    CHECK(path.rpm_at(49.9) > 600.0);
    CHECK(path.rpm_at(50.0 + spec.stall_fall_s + 0.01) == 0.0);
    CHECK(path.cycles_at(100.0) == path.cycles_at(51.0));
    CHECK(std::isinf(path.time_at_cycles(path.cycles_at(100.0) + 0.01)));
}

TEST_CASE("burst_response: 0 until the delay, 1 at the end of the spray, decays with its time constant", "[dsp][sim]") {
    const BurstShape shape{GENERATE(0.5, 0.8, 2.0), GENERATE(0.3, 1.0), GENERATE(2.0, 10.0)};
    const double duration_s = GENERATE(0.5, 1.0, 3.0);
    CHECK(burst_response(-1.0, duration_s, shape) == 0.0);
    CHECK(burst_response(shape.delay_s, duration_s, shape) == 0.0);
    const double peak_s = shape.delay_s + duration_s;
    CHECK(burst_response(peak_s, duration_s, shape) == Approx(1.0));
    CHECK(burst_response(peak_s - 0.01, duration_s, shape) < 1.0);
    CHECK(burst_response(peak_s + shape.decay_s, duration_s, shape) == Approx(std::exp(-1.0)));
}

TEST_CASE("SpeedPath: a burst peaks at the change asked for, either sign", "[dsp][sim]") {
    const double change_rpm = GENERATE(15.0, -9.0);
    SpeedPathSpec spec;
    spec.bursts = {{20.0, 1.0, change_rpm, {}}};
    const SpeedPath path(spec);
    double peak = 0.0;
    for (const double v : path.speeds_rpm())
        if (std::abs(v - 800.0) > std::abs(peak)) peak = v - 800.0;
    CHECK(peak == Approx(change_rpm).margin(0.01 * std::abs(change_rpm)));  // the peak may lie between two samples
    CHECK(path.rpm_at(20.7) == Approx(800.0));
}

TEST_CASE("SpeedPath: an idle valve takes a lasting load back within its time constant", "[dsp][sim]") {
    SpeedPathSpec spec;
    spec.loads = {{10.0, -30.0, 0.05}};
    spec.regulation_s = 3.0;
    const SpeedPath path(spec);
    CHECK(path.rpm_at(10.3) < 800.0 - 25.0);
    CHECK(path.rpm_at(13.0) == Approx(800.0 - 30.0 * std::exp(-1.0)).margin(1.0));  // 0.05 s of rise shift it by 2 %
    CHECK(path.rpm_at(40.0) == Approx(800.0).margin(0.01));
}

TEST_CASE("SpeedPath: each random ingredient has the size asked for", "[dsp][sim]") {
    SpeedPathSpec spec;
    spec.duration_s = 3600.0;
    spec.seed = GENERATE(11u, 12u);
    SECTION("wander: standard deviation and correlation over its time constant") {
        spec.wander_rpm = 5.0;
        const SpeedPath path(spec);
        // 3600 independent stretches of two time constants: standard error of the sd about 1.2 %, allowed four of it.
        CHECK(standard_deviation(path.speeds_rpm()) == Approx(5.0).epsilon(0.05));
        double product = 0.0;
        const auto& v = path.speeds_rpm();
        const std::size_t lag = 100;  // 0.5 s
        for (std::size_t i = 0; i + lag < v.size(); ++i)
            product += (v[i] - 800.0) * (v[i + lag] - 800.0) / static_cast<double>(v.size() - lag);
        CHECK(product / 25.0 == Approx(std::exp(-1.0)).margin(0.07));
    }
    SECTION("hunting: a sinusoid's standard deviation times its wandering amplitude") {
        spec.hunting_rpm = 7.0;
        const SpeedPath path(spec);
        // Amplitude spread 0.3: rms = 7 sqrt((1 + 0.09) / 2) = 5.17; 150 independent amplitudes leave 3 %, allow 4 of
        // it
        CHECK(standard_deviation(path.speeds_rpm()) == Approx(5.17).epsilon(0.12));
    }
    SECTION("random walk: variance of a change grows with time") {
        spec.random_walk_rpm = 0.5;
        const SpeedPath path(spec);
        const auto& v = path.speeds_rpm();
        double square = 0.0;
        int n = 0;
        for (std::size_t i = 0; i + 2000 < v.size(); i += 2000, ++n) square += std::pow(v[i + 2000] - v[i], 2);
        CHECK(std::sqrt(square / n) == Approx(0.5 * std::sqrt(10.0)).epsilon(0.15));  // 360 changes: 3.7 %, four of it
    }
    SECTION("natural steps: within the sizes asked for, over the time asked for") {
        spec.natural_steps_per_min = 1.0;
        const SpeedPath path(spec);
        double steepest = 0.0;
        const auto& v = path.speeds_rpm();
        for (std::size_t i = 1; i < v.size(); ++i) steepest = std::max(steepest, std::abs(v[i] - v[i - 1]) * 200.0);
        CHECK(steepest <= 20.0 / 4.0 + 1e-9);
        CHECK(steepest > 2.5);
        CHECK(standard_deviation(v) > 3.0);
    }
}

TEST_CASE("SpeedPath: same seed, same numbers; switching one ingredient leaves the others", "[dsp][sim]") {
    const auto spec = everything(21);
    CHECK(SpeedPath(spec).speeds_rpm() == SpeedPath(spec).speeds_rpm());
    auto other = spec;
    other.seed = 22;
    CHECK(SpeedPath(other).speeds_rpm() != SpeedPath(spec).speeds_rpm());
    auto calm = spec;
    calm.wander_rpm = 0.0;
    auto only_wander = SpeedPathSpec{};
    only_wander.duration_s = spec.duration_s;
    only_wander.seed = spec.seed;
    only_wander.wander_rpm = spec.wander_rpm;
    const SpeedPath a(spec), b(calm), c(only_wander);
    for (std::size_t i = 0; i < a.speeds_rpm().size(); i += 77)
        REQUIRE(a.speeds_rpm()[i] - b.speeds_rpm()[i] == Approx(c.speeds_rpm()[i] - 800.0).margin(1e-9));
}

TEST_CASE("SpeedPath: refuses what cannot be", "[dsp][sim]") {
    SpeedPathSpec spec;
    spec.duration_s = 0.0;
    CHECK_THROWS_AS(SpeedPath(spec), std::invalid_argument);
    spec = {};
    spec.bursts = {{1.0, 0.0, 5.0, {}}};
    CHECK_THROWS_AS(SpeedPath(spec), std::invalid_argument);
    spec = {};
    spec.strokes = 3;
    CHECK_THROWS_AS(SpeedPath(spec), std::invalid_argument);
    CHECK_THROWS_AS(SpeedPath(std::vector<double>{800.0, -1.0}), std::invalid_argument);
}
