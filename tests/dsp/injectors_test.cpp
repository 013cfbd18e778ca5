#include "dsp/injectors/click_pair.hpp"
#include "dsp/injectors/click_path.hpp"
#include "dsp/injectors/click_wave.hpp"
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/injectors/injector_set.hpp"
#include "dsp/injectors/mean_power.hpp"
#include "dsp/injectors/set_speed.hpp"
#include "dsp/injectors/time_scatter.hpp"
#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/random.hpp"
#include "dsp/statistics.hpp"
#include "tests/injector_sets.hpp"
#include "tests/plain_probe.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::WithinAbs;
using idlehark::test::draw_set;
using idlehark::test::record;
using idlehark::test::SetCondition;

namespace {

constexpr double kRate_hz = 32000.0;

Engine four(Injection scheme) {
    Engine e;
    e.firing_order = {1, 3, 4, 2};
    e.idle_low_rpm = 650.0;
    e.idle_high_rpm = 1150.0;
    e.injection = scheme;
    return e;
}

sim::SpeedPath idle(double rpm, std::uint64_t seed) {
    sim::SpeedPathSpec path;
    path.duration_s = 11.0;
    path.mean_rpm = rpm;
    path.hunting_rpm = 6.0;
    path.seed = seed;
    return sim::SpeedPath{path};
}

ProbeRecording examine(AudioView x, const Engine& engine, int cylinder) {
    return examine_probe(x, kRate_hz, readings_of_rumble(x, kRate_hz, engine), engine, cylinder);
}

struct Set {
    InjectorSet verdicts;
    std::vector<sim::InjectorProbe> truths;
};

Set test_set(sim::InjectorProbeSpec spec, double rpm, const Engine& stated) {
    Set out;
    std::vector<ProbedInjector> probed;
    for (int c = 1; c <= spec.engine.cylinders; ++c) {
        spec.cylinder = c;
        out.truths.push_back(sim::record_injector(spec, idle(rpm, spec.seed + static_cast<std::uint64_t>(c))));
        probed.push_back({c, examine(out.truths.back().samples, stated, c)});
    }
    out.verdicts = compare_injectors(probed, stated);
    return out;
}

sim::InjectorProbeSpec sound_set(Injection scheme, std::uint64_t seed) {
    sim::InjectorProbeSpec spec;
    spec.engine = four(scheme);
    spec.sample_rate_hz = kRate_hz;
    spec.seed = seed;
    spec.snr_db = 10.0;
    spec.health.resize(4);
    return spec;
}

}  // namespace

TEST_CASE("Crank clock: time and cycles are each other's inverse", "[dsp][injectors]") {
    const std::vector<double> rates{6.0, 7.0, 5.0, 6.5, 6.5};
    const CrankClock clock{rates, 0.5};
    CHECK_THAT(clock.cycles_at(0.5), WithinAbs(3.25, 1e-12));
    for (double t = -0.2; t < 2.3; t += 0.07) CHECK_THAT(clock.time_at(clock.cycles_at(t)), WithinAbs(t, 1e-9));
}

TEST_CASE("Crank clock: readings mostly without lock give none, gaps and strays are bridged", "[dsp][injectors]") {
    const auto engine = four(Injection::sequential);
    std::vector<RpmReading> readings(100);
    for (std::size_t i = 0; i < readings.size(); ++i) readings[i] = {0.1 * static_cast<double>(i), 840.0, 0, 0, i > 20};
    readings[50].rpm = 1600.0;
    readings[21].rpm = 500.0;
    const auto clock = clock_from_readings(readings, 0.1, engine);
    REQUIRE(clock);
    CHECK_THAT(clock->mean_rate_hz(), WithinAbs(7.0, 0.001));
    for (std::size_t i = 0; i < 60; ++i) readings[i].locked = false;
    CHECK_FALSE(clock_from_readings(readings, 0.1, engine));
    CHECK_FALSE(clock_from_readings({}, 0.1, engine));
}

TEST_CASE("Crank clock: follows pulses that drift, without any firing", "[dsp][injectors]") {
    const auto engine = four(Injection::sequential);
    auto random = sim::sub_stream(4, "pulses");
    std::vector<float> strength(24000);
    for (auto& v : strength) v = static_cast<float>(std::fabs(sim::gaussian(random)));
    double t = 0.1;
    int pulses = 0;
    const auto cycles_between = [](double from, double to) {  // by fine steps
        double sum = 0.0;
        for (double s = from; s < to; s += 1e-3) sum += 1e-3 * (6.5 + 0.3 * std::sin(s));
        return sum;
    };
    while (t < 11.9) {
        strength[static_cast<std::size_t>(t / 0.5e-3)] += 6.F;
        t += 1.0 / (6.5 + 0.3 * std::sin(t));
        ++pulses;
    }
    const auto clock = clock_from_clicks(strength, 0.5e-3, engine);
    REQUIRE(clock);
    CHECK_THAT(clock->mean_rate_hz(), WithinAbs(pulses / 11.8, 0.03 * 6.5));
    // The path on that clock finds the pulses; their own clock is then right to a frame over the recording.
    const auto path = follow_clicks(strength, 0.5e-3, *clock, 8, 0);
    std::vector<double> starts;
    for (const double c : path.at_cycles) starts.push_back(clock->time_at(c));
    const auto sharper = clock_from_cycles(starts, 12.0);
    CHECK_THAT(sharper.cycles_at(11.0) - sharper.cycles_at(1.0), WithinAbs(cycles_between(1.0, 11.0), 0.1));
}

TEST_CASE("Click path: stands out of chance for pulses, not for noise", "[dsp][injectors]") {
    auto random = sim::sub_stream(5, "path");
    std::vector<float> noise(20000);
    for (auto& v : noise) v = static_cast<float>(std::fabs(sim::gaussian(random)));
    const CrankClock clock{std::vector<double>(101, 7.0), 0.1};
    const auto chance = follow_clicks(noise, 0.5e-3, clock, 2, 3);
    CHECK(chance.contrast < 1.15 * chance.chance_contrast);
    for (double c = 0.3; c < 69.0; ++c) noise[static_cast<std::size_t>(c / 7.0 / 0.5e-3)] += 3.F;
    const auto path = follow_clicks(noise, 0.5e-3, clock, 2, 3);
    CHECK(path.contrast > 1.5 * path.chance_contrast);
    REQUIRE(path.at_cycles.size() >= 67);
    for (const double at : path.at_cycles) CHECK_THAT(at - std::floor(at), WithinAbs(0.3, 0.01));
}

TEST_CASE("Click path: of two lines that stand far out of the noise the louder one is followed", "[dsp][injectors]") {
    auto random = sim::sub_stream(7, "loud lines");
    std::vector<float> strength(20000);
    for (auto& v : strength) v = static_cast<float>(std::fabs(sim::gaussian(random)));
    const CrankClock clock{std::vector<double>(101, 7.0), 0.1};
    for (double c = 0.3; c < 69.0; ++c)
        for (int width = 0; width < 2; ++width) {
            strength[static_cast<std::size_t>(c / 7.0 / 0.5e-3) + static_cast<std::size_t>(width)] += 12.F;
            strength[static_cast<std::size_t>((c + 0.5) / 7.0 / 0.5e-3) + static_cast<std::size_t>(width)] += 20.F;
        }
    for (std::size_t k = 8000; k < 8010; ++k) strength[k] += 1000.F;  // a bang
    const auto path = follow_clicks(strength, 0.5e-3, clock, 2, 0);
    REQUIRE(path.at_cycles.size() >= 67);
    for (const double at : path.at_cycles) CHECK_THAT(at - std::floor(at), WithinAbs(0.8, 0.02));
}

TEST_CASE("Click fold: noise that swells with every firing is no click at an injector's place", "[dsp][injectors]") {
    ProbeRecording r;  // a place every hundred steps; the strongest click at a quarter of the fold
    for (int m = 0; m < 400; ++m) r.fold.push_back(1.5 + 0.5 * std::cos(2.0 * std::numbers::pi * (m - 100) / 100.0));
    for (const std::size_t m : {100U, 101U, 106U}) r.fold[m] += 20.0;
    r.hearing_db = -15.0;
    for (const double after : {0.25, 0.5, 0.75}) CHECK_FALSE(place_heard(r, after).heard);
    for (const std::size_t m : {300U, 301U, 306U}) r.fold[m] += 1.5;  // a neighbour's
    CHECK_THAT(place_heard(r, 0.5).level_db, WithinAbs(10.0 * std::log10(1.5 / 20.0), 1.0));
    CHECK_FALSE(place_heard(r, 0.25).heard);
}

TEST_CASE("Click path: a corridor beside a louder line leads to what clicks there", "[dsp][injectors]") {
    auto random = sim::sub_stream(6, "corridor");
    std::vector<float> strength(20000);
    for (auto& v : strength) v = static_cast<float>(std::fabs(sim::gaussian(random)));
    const CrankClock clock{std::vector<double>(101, 7.0), 0.1};
    for (double c = 0.3; c < 69.0; ++c) {
        strength[static_cast<std::size_t>(c / 7.0 / 0.5e-3)] += 3.F;
        strength[static_cast<std::size_t>((c + 0.35) / 7.0 / 0.5e-3)] += 2.F;
    }
    const auto loud = follow_clicks(strength, 0.5e-3, clock, 2, 0);
    const auto other = follow_clicks(strength, 0.5e-3, clock, 2, 0, {loud.at_cycles, 0.34, 4e-3});
    REQUIRE(other.at_cycles.size() >= 67);
    for (const double at : other.at_cycles) CHECK_THAT(at - std::floor(at), WithinAbs(0.65, 0.01));
    CHECK(other.contrast < loud.contrast);
    // Nothing is there: the line stays in the corridor and is no clearer than chance.
    const auto empty = follow_clicks(strength, 0.5e-3, clock, 2, 0, {loud.at_cycles, -0.2, 4e-3});
    for (const double at : empty.at_cycles) CHECK_THAT(at - std::floor(at), WithinAbs(0.1, 0.03));
    CHECK(empty.contrast < 0.5 * other.contrast);
}

TEST_CASE("Click pair: the clearest partner of the clearest rise comes first, a likely one stays in the list",
          "[dsp][injectors]") {
    PowerCourse course{std::vector<double>(561, 1e-4), -14e-3, 50e-6};
    const auto lay = [&](double at_s, double amplitude) {
        const auto from = static_cast<std::size_t>(std::lround((at_s - course.from_s) / course.step_s));
        for (std::size_t i = 0; i < 40; ++i)
            course.power[from + i] += std::pow(amplitude * std::exp(-static_cast<double>(i) / 12.0), 2);
    };
    lay(0.0, 1.0);
    lay(-3.0e-3, 0.5);    // the opening
    lay(-6.5e-3, 0.35);   // a tick at the same crank angle
    lay(2.5e-3, 0.1);     // too faint for either
    lay(-13.5e-3, 0.45);  // too far off for an opening time
    const auto pairs = find_pairs(course);
    REQUIRE(pairs.size() == 2);
    CHECK_THAT(pairs[0].close_s - pairs[0].open_s, WithinAbs(3.0e-3, 0.05e-3));
    CHECK_THAT(pairs[1].close_s - pairs[1].open_s, WithinAbs(6.5e-3, 0.05e-3));
    CHECK(pairs[0].rise == 1.0);
    CHECK_THAT(pairs[1].rise, WithinAbs(0.65, 0.05));  // its odds and steepness against the opening's, by hand

    const auto silence = find_pairs({std::vector<double>(561, 0.0), -14e-3, 50e-6});
    REQUIRE(silence.size() == 1);
    CHECK(std::isnan(silence.front().open_s));
    CHECK(std::isnan(find_pairs({{}, -14e-3, 50e-6}).front().open_s));
}

TEST_CASE("Click pair: a closing click is found while the opening one still rings", "[dsp][injectors]") {
    const double after_s = GENERATE(1.2e-3, 1.4e-3);
    CAPTURE(after_s);
    const bool closes = GENERATE(true, false);
    PowerCourse course{std::vector<double>(561, 0.01), -14e-3, 50e-6};
    auto random = sim::sub_stream(9, "ripple");
    for (std::size_t i = 0; i < course.power.size(); ++i) {
        const double t = course.from_s + static_cast<double>(i) * course.step_s;
        if (t >= 0.0) course.power[i] += std::exp(-t / 0.35e-3);
        if (closes && t >= after_s) course.power[i] += 0.3 * std::exp(-(t - after_s) / 0.35e-3);
        course.power[i] *= 1.0 + 0.05 * sim::gaussian(random);
    }
    const auto pairs = find_pairs(course);
    REQUIRE(pairs.size() == 1);
    CHECK_THAT(pairs[0].open_s, WithinAbs(0.0, 0.1e-3));
    if (closes)
        CHECK_THAT(pairs[0].close_s - pairs[0].open_s, WithinAbs(after_s, 0.1e-3));
    else
        CHECK(std::isnan(pairs[0].close_s));
}

TEST_CASE("Mean power: nothing sounds before its time, and a click's faint start is its start", "[dsp][injectors]") {
    const double rate_hz = GENERATE(8000.0, 16000.0, 44100.0, 48000.0, 96000.0, 192000.0);
    CAPTURE(rate_hz);
    const bool slow = GENERATE(false, true);
    constexpr double kAfter_s = 1.3e-3;  // of each time given
    constexpr int kClicks = 60;
    const double tone_hz = std::min(5200.0, 0.3 * rate_hz);
    std::vector<float> x(static_cast<std::size_t>(rate_hz * 0.08 * (kClicks + 2)));
    sim::FastNoise noise{sim::sub_stream(5, "noise")};
    for (auto& v : x) v = static_cast<float>(0.1 * noise.next());
    auto random = sim::sub_stream(5, "times");
    std::vector<double> times_s;
    for (int k = 1; k <= kClicks; ++k) {
        times_s.push_back(0.08 * k + 1e-3 * sim::uniform(random, 0.0, 1.0));
        const double start_s = times_s.back() + kAfter_s;
        // What an engine sounds below the band, and louder, at the same place of the cycle.
        for (double t = -0.03; t < 0.03; t += 1.0 / rate_hz)
            x[static_cast<std::size_t>(std::lround((start_s + t) * rate_hz))] +=
                static_cast<float>(20.0 * std::cos(2.0 * std::numbers::pi * 150.0 * t));
        for (auto i = static_cast<std::size_t>(std::ceil(start_s * rate_hz)); i < x.size(); ++i) {
            const double t = static_cast<double>(i) / rate_hz - start_s;
            if (t > 6e-3) break;
            const double loud = slow && t < 0.25e-3 ? 0.15 : 1.0;
            x[i] += static_cast<float>(loud * std::exp(-t / 0.8e-3) * std::sin(2.0 * std::numbers::pi * tone_hz * t));
        }
    }
    const FrequencyRange band{1500.0, std::min(18500.0, 0.48 * rate_hz)};
    const auto course = mean_power(x, rate_hz, band, times_s, -6e-3, 6e-3);
    CHECK(course.step_s <= 12.5e-6);
    CHECK_THAT(course.from_s, WithinAbs(-6e-3, course.step_s));
    REQUIRE(static_cast<double>(course.power.size()) * course.step_s >= 12e-3);
    const auto at = [&](double s) {
        return static_cast<std::size_t>(std::lround((s - course.from_s) / course.step_s));
    };
    const double top = *std::max_element(course.power.begin(), course.power.end());
    // The band's width is the sharpness: a step of a signal rises within its reciprocal.
    const double sharp_s = 1.0 / (band.high_hz - band.low_hz);
    for (std::size_t i = at(-2e-3); i < at(kAfter_s - 0.5 * sharp_s); ++i) CHECK(course.power[i] < 0.02 * top);
    const auto pair = find_pairs(course).front();
    const double start_s =
        std::isnan(pair.close_s) || std::fabs(pair.open_s - kAfter_s) < 0.4e-3 ? pair.open_s : pair.close_s;
    // A minimum phase delays by its slope, that of 20 dB over pi at both edges. A tone's first quarter is faint.
    const double delay_s = std::numbers::ln10 / (2.0 * std::pow(std::numbers::pi, 2)) *
                           (1.0 / (band.high_hz - tone_hz) + 1.0 / (tone_hz - band.low_hz));
    CHECK_THAT(start_s, WithinAbs(kAfter_s + delay_s, std::max(0.25 / tone_hz, 0.5 * sharp_s)));
}

TEST_CASE("Click wave: clicks ring alike, and half of one is a quarter of its power", "[dsp][injectors]") {
    constexpr double kSpacing_s = 0.1;
    constexpr int kClicks = 60;
    std::vector<float> x(static_cast<std::size_t>(kRate_hz * kSpacing_s * (kClicks + 3)));
    sim::FastNoise noise{sim::sub_stream(11, "noise")};
    for (auto& v : x) v = static_cast<float>(0.05 * noise.next());
    const auto ring = [&](double at_s, double gain, double f_hz) {
        for (double t = std::ceil(at_s * kRate_hz) / kRate_hz - at_s; t < 5e-3; t += 1.0 / kRate_hz)
            x[static_cast<std::size_t>(std::lround((at_s + t) * kRate_hz))] +=
                static_cast<float>(gain * std::exp(-t / 0.8e-3) * std::sin(2.0 * std::numbers::pi * f_hz * t));
    };
    auto random = sim::sub_stream(11, "times");
    std::vector<double> true_s;
    std::vector<double> given_s;
    std::vector<double> quiet_s;
    std::vector<double> other_s;
    for (int k = 1; k <= kClicks; ++k) {
        given_s.push_back(kSpacing_s * k);
        true_s.push_back(given_s.back() + 150e-6 * std::clamp(sim::gaussian(random), -2.0, 2.0));
        quiet_s.push_back(given_s.back() + 0.025);
        other_s.push_back(given_s.back() + 0.05);
        ring(true_s.back(), 1.0, 5200.0);
        ring(other_s.back(), 1.0, 9000.0);
    }
    const double half_s = kSpacing_s * (kClicks + 1);
    ring(half_s, 0.5, 5200.0);

    std::vector<double> centre_hz;
    for (double f = 2000.0; f < 14000.0; f += 1000.0) centre_hz.push_back(f);
    const ClickEnvelope sound{x, kRate_hz, centre_hz, std::vector<double>(centre_hz.size(), 1.0), 100};
    const auto wave = average_clicks(sound, given_s, 80, 80, 160, 0.0);
    std::vector<Wave> quiet;
    for (const double t : quiet_s) quiet.push_back(sound.read(t));
    const double error_s = timing_error_s(wave, quiet);
    CHECK(error_s > 0.0);
    CHECK(error_s < 10e-6);
    REQUIRE(wave.clicks.size() == given_s.size());
    std::vector<double> off;
    for (std::size_t k = 0; k < true_s.size(); ++k) {
        off.push_back(wave.clicks[k].time_s - true_s[k]);
        CHECK_THAT(wave.clicks[k].strength, WithinAbs(1.0, 0.2));
    }
    for (const double v : off) CHECK_THAT(v, WithinAbs(stats::median(off), 5.0 * error_s));

    const auto half = place_click(sound, wave, half_s + 200e-6);
    CHECK_THAT(half.strength, WithinAbs(0.25, 0.1));
    CHECK_THAT(half.time_s, WithinAbs(half_s + stats::median(off), 10.0 * error_s));
    CHECK(place_click(sound, wave, quiet_s.front()).strength < 0.05);
    CHECK_THAT(coherence(wave, wave), WithinAbs(1.0, 1e-3));
    CHECK(coherence(wave, average_clicks(sound, other_s, 80, 80, 160, 0.0)) < 0.2);
    CHECK(average_clicks(sound, {}, 80, 80, 160, 0.0).mean.size() == 0);
}

TEST_CASE("Scatter: white part and course are told apart", "[dsp][injectors]") {
    const auto seed = GENERATE(11U, 12U, 13U);
    auto random = sim::sub_stream(seed, "scatter");
    const double jitter = 100.0;
    double slope = 0.0;
    double course = 0.0;
    std::vector<CourseMark> marks;
    for (int k = 0; k < 400; ++k) {
        slope += 20.0 * sim::gaussian(random);
        course += slope;
        const double value = k % 17 == 5 ? std::nan("") : course + jitter * sim::gaussian(random);
        marks.push_back({static_cast<double>(k), value, 0});
    }
    marks[100].value += 5000.0;  // a stray
    const auto split = split_scatter(marks);
    CHECK_THAT(split.sd, WithinAbs(jitter, 15.0));  // 400 values and a course to be found: 4 % and some
    CHECK(split.least_sd < jitter);
    CHECK(split.least_sd > 0.7 * jitter);
    CHECK(split.course.size() == marks.size());
    CHECK_THROWS_AS(split_scatter(std::vector<CourseMark>(7)), std::invalid_argument);
}

TEST_CASE("Scatter: where the course wanders far more than the events scatter, little of it is sure",
          "[dsp][injectors]") {
    int surely_more = 0;
    for (unsigned seed = 1; seed <= 100; ++seed) {
        auto random = sim::sub_stream(seed, "wander");
        double slope = 0.0;
        double course = 0.0;
        std::vector<CourseMark> marks;
        for (int k = 0; k < 90; ++k) {  // the slope walks on between the events, too
            const double turn = 300.0 * sim::gaussian(random);
            course += slope + 0.5 * turn + 300.0 / std::sqrt(12.0) * sim::gaussian(random);
            slope += turn;
            marks.push_back({static_cast<double>(k), course + 40.0 * sim::gaussian(random), 0});
        }
        surely_more += split_scatter(marks).least_sd > 60.0;
    }
    CHECK(surely_more <= 8);  // 2.5 % and what a hundred draws scatter
}

TEST_CASE("Scatter: what others mark in between helps where the course wanders", "[dsp][injectors]") {
    // The course bends within a few steps by more than the events scatter. Two other families mark it too, one of them
    // badly; their middles are their own. Over many draws the scatter found is nearer to the true one with them.
    double alone = 0.0;
    double together = 0.0;
    for (unsigned seed = 1; seed <= 40; ++seed) {
        auto random = sim::sub_stream(seed, "scatter of families");
        const double jitter = 60.0;
        double slope = 0.0;
        double course = 0.0;
        std::vector<CourseMark> own;
        std::vector<CourseMark> all;
        for (int k = 0; k < 300; ++k) {
            slope += 150.0 * sim::gaussian(random);
            course += slope / 3.0;
            const auto family = static_cast<std::size_t>(k % 3);
            const double sd = family == 2 ? 4.0 * jitter : jitter;
            const double middle = 1000.0 * static_cast<double>(family);
            all.push_back({k / 3.0, course + middle + sd * sim::gaussian(random), family});
            if (family == 0) own.push_back(all.back());
        }
        alone += std::pow(std::log(split_scatter(own).sd / jitter), 2);
        together += std::pow(std::log(split_scatter(all).sd / jitter), 2);
    }
    CHECK(together < 0.7 * alone);
    CHECK(std::sqrt(together / 40.0) < 0.16);  // 100 events alone: 0.07, were the course known
}

TEST_CASE("Simulated probe: own openings fall due once per cycle or turn, and misses are what is missing",
          "[dsp][sim][injectors]") {
    auto spec = sound_set(Injection::sequential, 8);
    spec.health[1].miss_probability = 0.3;
    spec.health[1].jitter_us = 0.0;
    spec.cylinder = 2;
    const auto path = idle(900.0, 3);
    const auto sequential = sim::record_injector(spec, path);
    CHECK_THAT(sequential.due, WithinAbs(path.cycles_at(path.duration_s()), 1.5));
    CHECK(sequential.missed > 0);
    CHECK(static_cast<int>(sequential.opened_s.size()) == sequential.due - sequential.missed);
    const double first = path.cycles_at(sequential.opened_s.front());
    for (const double t : sequential.opened_s) {
        const double off = path.cycles_at(t) - first;
        CHECK_THAT(off, WithinAbs(std::round(off), 1e-6));
    }
    spec.engine.injection = Injection::simultaneous;
    CHECK_THAT(sim::record_injector(spec, path).due, WithinAbs(2.0 * path.cycles_at(path.duration_s()), 1.5));
    spec.cylinder = 5;
    CHECK_THROWS_AS(sim::record_injector(spec, path), std::invalid_argument);
}

TEST_CASE("Injectors: a sound set, one that misses, one silent, one weak", "[dsp][injectors]") {
    const auto scheme = GENERATE(Injection::sequential, Injection::simultaneous);
    auto spec = sound_set(scheme, 77);
    spec.recording_spread_db = 0.5;
    spec.health[1].miss_probability = 0.12;
    spec.health[2].level = 0.0;
    spec.health[3].level = 0.4;
    const auto set = test_set(spec, 820.0, spec.engine);
    const auto& v = set.verdicts.injectors;
    CHECK(v[0].verdict == InjectorVerdict::regular);
    CHECK(v[1].verdict == InjectorVerdict::missing_clicks);
    CHECK(v[2].verdict == InjectorVerdict::silent);
    CHECK(v[3].verdict == InjectorVerdict::differs);
    CHECK_FALSE(set.verdicts.scheme_disagrees);
    CHECK_THAT(set.verdicts.rpm, WithinAbs(820.0, 8.0));
    const double expected_hz = v[0].rpm / (scheme == Injection::sequential ? 120.0 : 60.0);
    CHECK_THAT(v[0].expected_hz, WithinAbs(expected_hz, 1e-9));
    CHECK_THAT(v[0].rate_hz, WithinAbs(expected_hz, 0.02 * expected_hz));
    CHECK(v[2].rate_hz == 0.0);
    CHECK_THAT(v[1].missed_percent, WithinAbs(100.0 * set.truths[1].missed / set.truths[1].due, 1.0));
    CHECK_THAT(v[0].open_close_ms, WithinAbs(2.8, 0.15));
    CHECK_THAT(v[0].jitter_us, WithinAbs(80.0, 25.0));
    CHECK_THAT(v[0].jitter_deg, WithinAbs(v[0].jitter_us * 1e-6 * v[0].rpm * 6.0, 1e-9));
    CHECK(v[3].level_db < -3.0);
}

TEST_CASE("Injectors: another opening time is told, by the set or against the odds of one to three",
          "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 78);
    spec.health[3].open_close_ms = 4.2;
    const auto set = test_set(spec, 760.0, spec.engine);
    for (std::size_t i = 0; i < 3; ++i) CHECK(set.verdicts.injectors[i].verdict == InjectorVerdict::regular);
    CHECK(set.verdicts.injectors[3].verdict == InjectorVerdict::differs);
    CHECK(set.verdicts.injectors[3].reasons.spacing);
    CHECK_THAT(set.verdicts.injectors[3].open_close_ms, WithinAbs(4.2, 0.15));
}

TEST_CASE("Injectors: of two opening times, two injectors each, neither is called right", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 81);
    for (const std::size_t i : {0U, 2U}) spec.health[i].open_close_ms = 4.2;
    const auto set = test_set(spec, 760.0, spec.engine);
    CHECK(set.verdicts.openings_split);
    for (const auto& v : set.verdicts.injectors) {
        CHECK(v.verdict == InjectorVerdict::differs);
        CHECK(v.reasons.spacing);
    }
}

TEST_CASE("Injectors: where all open together, weak ones have their say about the opening time", "[dsp][injectors]") {
    for (const std::uint64_t seed : {151U, 152U, 153U}) {
        auto spec = sound_set(Injection::simultaneous, seed);
        spec.health[0].level = spec.health[1].level = 0.45;
        spec.health[3].open_close_ms *= 1.35;
        const auto set = test_set(spec, 850.0, spec.engine).verdicts;
        CAPTURE(seed);
        CHECK_FALSE(set.openings_split);
        CHECK(set.injectors[2].verdict == InjectorVerdict::regular);
        CHECK(set.injectors[3].reasons.spacing);
        for (const std::size_t i : {0U, 1U}) {
            CHECK(set.injectors[i].verdict == InjectorVerdict::differs);
            CHECK_FALSE(set.injectors[i].reasons.spacing);
        }
    }
}

TEST_CASE("Injectors: three silent ones of four do not make the fourth the odd one", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 79);
    for (const std::size_t i : {0U, 1U, 3U}) spec.health[i].level = 0.0;
    const auto set = test_set(spec, 880.0, spec.engine);
    for (const std::size_t i : {0U, 1U, 3U}) CHECK(set.verdicts.injectors[i].verdict == InjectorVerdict::silent);
    CHECK(set.verdicts.injectors[2].verdict == InjectorVerdict::regular);
}

TEST_CASE("Injectors: a set that clicks once per turn is noticed where the file says sequential", "[dsp][injectors]") {
    const auto set = test_set(sound_set(Injection::simultaneous, 80), 900.0, four(Injection::sequential));
    CHECK(set.verdicts.each_turn);
    CHECK(set.verdicts.scheme_disagrees);
    for (const auto& v : set.verdicts.injectors) {
        CHECK(v.verdict == InjectorVerdict::regular);
        CHECK_THAT(v.rate_hz, WithinAbs(2.0 * v.expected_hz, 0.05 * v.expected_hz));
    }
}

TEST_CASE("Injectors: another group half a cycle on is not the same injector again", "[dsp][injectors]") {
    // A weak one and the two of the other group are about as loud; they ring otherwise.
    auto spec = sound_set(Injection::grouped, 5);
    spec.engine.injection_groups = {{1, 3}, {4, 2}};
    spec.health[2].level = 0.45;
    CHECK_FALSE(examine(sim::record_injector(spec, idle(850, 8)).samples, spec.engine, 1).each_turn);
    spec.cylinder = 3;
    const auto once = examine(sim::record_injector(spec, idle(850, 9)).samples, spec.engine, 3);
    CHECK_FALSE(once.each_turn);
    CHECK(once.due < 1.1 * 11.0 * 850.0 / 120.0);
    spec.group_each_turn = true;
    CHECK(examine(sim::record_injector(spec, idle(850, 9)).samples, spec.engine, 3).each_turn);
}

TEST_CASE("Injectors: a probe that hears no firing takes the speed from the clicks", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 81);
    spec.firing_heard = false;
    const auto probe = sim::record_injector(spec, idle(940.0, 6));
    const auto heard = examine(probe.samples, spec.engine, 1);
    CHECK(heard.repeats);
    CHECK_THAT(heard.rpm, WithinAbs(940.0, 9.4));
}

TEST_CASE("Injectors: seconds in which the speed is misread cost no click and make none uneven", "[dsp][injectors]") {
    const auto seed = GENERATE(640101U, 640102U, 640103U, 640104U);
    const double factor = GENERATE(0.75, 0.92, 1.1);
    SetCondition condition;
    condition.name = "misread";
    auto set = draw_set(condition, seed);
    set.spec.health.assign(4, {});
    const auto probe = record(set, condition, 2);
    auto readings = readings_of_rumble(probe.samples, condition.rate_hz, set.spec.engine);
    const auto right = examine_probe(probe.samples, condition.rate_hz, readings, set.spec.engine, 2);
    for (auto& r : readings)
        if (r.time_s > 5.5 && r.time_s < 8.0) r.rpm *= factor;
    const auto misread = examine_probe(probe.samples, condition.rate_hz, readings, set.spec.engine, 2);
    CHECK(right.missed == 0);
    CHECK(misread.missed == 0);
    CHECK(misread.due >= right.due - 4);
    CHECK(misread.jitter_us < 1.3 * right.jitter_us);
    CHECK(misread.jitter_least_us <= misread.jitter_us);
}

TEST_CASE("Injectors: clicks that neighbours make faint now and then are not missing", "[dsp][injectors]") {
    ProbeRecording r;
    r.repeats = true;
    r.rpm = 800.0;
    r.due = 200;
    r.length_s = 15.0;
    r.common_share = 0.9;
    r.level_db = r.power_level_db = -20.0;
    r.spectrum.assign(kSpectrumSize, 1.0);
    r.quiet.assign(kSpectrumSize, 1.0);
    r.jitter_us = r.jitter_least_us = 60.0;
    r.spacings = {{3.0, 1.0}};
    std::vector<ProbedInjector> set;
    for (int c = 1; c <= 4; ++c) set.push_back({c, r});
    auto& odd = set[1].recording;
    const auto verdict = [&] { return compare_injectors(set, four(Injection::sequential)).injectors[1].verdict; };
    odd.missed = 6;  // six below the line, and others all the way down to it
    odd.loudest_missed = 0.24;
    odd.faintest_heard = 0.26;
    odd.missed_by_scatter = 2.5;
    CHECK(verdict() == InjectorVerdict::regular);
    odd.faintest_heard = 0.5;  // a gap
    CHECK(verdict() == InjectorVerdict::missing_clicks);
    odd.faintest_heard = 0.26;
    odd.missed = 30;  // no gap, but far more than scatter leaves there
    CHECK(verdict() == InjectorVerdict::missing_clicks);
    odd.missed = odd.clearly_missed = 1;
    CHECK(verdict() == InjectorVerdict::regular);
    odd.faintest_heard = 0.6;
    CHECK(verdict() == InjectorVerdict::missing_clicks);
}

TEST_CASE("Injectors: a recording whose clicks give another speed than the set's is named", "[dsp][injectors]") {
    std::vector<ProbedInjector> set(4);
    for (int c = 0; c < 4; ++c) {
        set[static_cast<std::size_t>(c)].cylinder = c + 1;
        auto& r = set[static_cast<std::size_t>(c)].recording;
        r.repeats = true;
        r.firing_heard = c != 2;
        r.rpm = 800.0 + c;
    }
    const auto engine = four(Injection::sequential);
    CHECK(other_speeds(set, engine).which.empty());
    set[2].recording.rpm = 960.0;
    const auto odd = other_speeds(set, engine);
    CHECK(odd.which == std::vector<std::size_t>{2});
    CHECK(odd.engine.idle_low_rpm < 800.0);
    CHECK(odd.engine.idle_high_rpm > 803.0);
    CHECK(odd.engine.idle_high_rpm * 1.1 < 960.0);  // what is looked through beyond it
    set[2].recording.firing_heard = true;           // the engine itself ran so
    CHECK(other_speeds(set, engine).which.empty());
    set[2].recording.firing_heard = set[1].recording.firing_heard = set[0].recording.firing_heard = false;
    CHECK(other_speeds(set, engine).which.empty());  // one that is sure is no set
}

TEST_CASE("Injectors: silence, noise and samples that are no numbers give no clicks", "[dsp][injectors]") {
    const auto engine = four(Injection::sequential);
    std::vector<float> x(static_cast<std::size_t>(8.0 * kRate_hz), 0.F);
    CHECK_FALSE(examine(x, engine, 1).repeats);
    sim::FastNoise noise{sim::sub_stream(3, "noise")};
    for (auto& v : x) v = static_cast<float>(0.1 * noise.next());
    CHECK_FALSE(examine(x, engine, 1).repeats);
    for (auto& v : x) v = std::numeric_limits<float>::quiet_NaN();
    CHECK_FALSE(examine(x, engine, 1).repeats);
    CHECK_FALSE(examine({}, engine, 1).repeats);
    CHECK_FALSE(examine(std::vector<float>(100, 0.1F), engine, 1).repeats);
    CHECK_THROWS_AS(examine(x, engine, 5), std::invalid_argument);
    CHECK_THROWS_AS(compare_injectors({}, engine), std::invalid_argument);
}

TEST_CASE("Injectors: a noise gate that leaves nothing between the clicks does not stop them", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 84);
    spec.snr_db = 30.0;
    spec.firing_heard = false;
    auto probe = sim::record_injector(spec, idle(800.0, 9));
    auto& x = probe.samples;
    float loudest = 0.F;
    for (const float v : x) loudest = std::max(loudest, std::fabs(v));
    const auto held = static_cast<std::size_t>(0.004 * kRate_hz);
    std::size_t open = 0, shut = 0;
    for (auto& v : x) {
        if (std::fabs(v) > 0.15F * loudest)
            open = held;
        else if (open > 0)
            --open;
        else
            v = 0.F, ++shut;
    }
    CHECK(2 * shut > x.size());
    const auto r = examine(x, spec.engine, 1);
    REQUIRE(r.repeats);
    CHECK(r.rpm == Approx(800.0).margin(8.0));
    CHECK(r.missed == 0);
    double late_s = 0.0;  // what the gate takes off the opening clicks
    for (const double t : probe.opened_s) {
        auto i = static_cast<std::size_t>(std::ceil(t * kRate_hz));
        while (i < x.size() && x[i] == 0.F) ++i;
        late_s += (static_cast<double>(i) / kRate_hz - t) / static_cast<double>(probe.opened_s.size());
    }
    CHECK(r.open_close_ms == Approx(spec.health[0].open_close_ms - 1e3 * late_s).margin(0.1));
}

TEST_CASE("Injectors: twenty decibels up or down change levels alone", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 82);
    const auto probe = sim::record_injector(spec, idle(800.0, 9));
    auto quiet = probe.samples;
    for (auto& v : quiet) v *= 0.125F;  // exact in binary
    const auto a = examine(probe.samples, spec.engine, 1);
    const auto b = examine(quiet, spec.engine, 1);
    CHECK(a.due == b.due);
    CHECK(a.missed == b.missed);
    // The tracker's floor for digital silence moves its speed in the sixth digit, and with it which frames are near.
    CHECK_THAT(a.open_close_ms, WithinAbs(b.open_close_ms, 0.02));
    CHECK_THAT(a.level_db - b.level_db, WithinAbs(20.0 * std::log10(8.0), 0.1));
}

TEST_CASE("Injectors: neither another gain nor a fan in one recording makes its injector odd", "[dsp][injectors]") {
    auto spec = sound_set(GENERATE(Injection::sequential, Injection::simultaneous), 83);
    const bool fan = GENERATE(false, true);
    CAPTURE(spec.engine.injection, fan);
    std::vector<ProbedInjector> set;
    for (int c = 1; c <= 4; ++c) {
        spec.cylinder = c;
        auto sound = sim::record_injector(spec, idle(840.0, static_cast<std::uint64_t>(c))).samples;
        if (c == 2 && fan) {  // as loud as all that is no click: 3 dB more
            auto noise = sim::sub_stream(spec.seed, "fan");
            for (auto& v : sound) v += static_cast<float>(0.02 * sim::gaussian(noise));
        } else if (c == 2) {
            for (auto& v : sound) v *= 0.5F;
        }
        set.push_back({c, examine(sound, spec.engine, c)});
    }
    const auto v = compare_injectors(set, spec.engine).injectors;
    for (const auto& injector : v) CHECK(injector.verdict == InjectorVerdict::regular);
    CHECK_THAT(v[1].level_db, WithinAbs(0.0, 2.5));
}

TEST_CASE("Injectors: verdicts hold on another probe's sound, with hum, an offset and a rebound in every click",
          "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, GENERATE(8101U, 8102U));
    spec.snr_db = 8.0;
    for (auto& h : spec.health) h.open_close_ms = 3.1;
    spec.health[1].miss_probability = 0.2;
    spec.health[2].level = 0.0;
    const test::ProbeTrouble trouble{.hum_db = 0.0, .offset = 0.03};
    std::vector<ProbedInjector> set;
    for (int c = 1; c <= 4; ++c) {
        spec.cylinder = c;
        const auto probe = test::record_plain_probe(spec, idle(860.0, static_cast<std::uint64_t>(c)), trouble);
        set.push_back({c, examine(probe.samples, spec.engine, c)});
        CAPTURE(spec.seed, c);
        // The first and the last cycle are not judged: two of some 75 clicks.
        if (c == 2)
            CHECK_THAT(static_cast<double>(set.back().recording.missed) / set.back().recording.due,
                       WithinAbs(static_cast<double>(probe.missed) / probe.due, 0.03));
        if (c != 3) CHECK_THAT(set.back().recording.open_close_ms, WithinAbs(3.1, 0.25));
    }
    const auto v = compare_injectors(set, spec.engine).injectors;
    CHECK(v[0].verdict == InjectorVerdict::regular);
    CHECK(v[1].verdict == InjectorVerdict::missing_clicks);
    CHECK(v[2].verdict == InjectorVerdict::silent);
    CHECK(v[3].verdict == InjectorVerdict::regular);
}

TEST_CASE("Injectors: that each opening lasts a little longer or shorter makes no clicks miss", "[dsp][injectors]") {
    const bool plain = GENERATE(false, true);
    auto spec = sound_set(GENERATE(Injection::sequential, Injection::simultaneous), GENERATE(8201U, 8202U));
    for (auto& h : spec.health) {
        h.open_close_ms = 3.0;
        h.open_close_scatter_us = 45.0;  // a hundredth and a half
    }
    std::vector<ProbedInjector> set;
    for (int c = 1; c <= 4; ++c) {
        spec.cylinder = c;
        const auto path = idle(860.0, static_cast<std::uint64_t>(c));
        const auto probe = plain ? test::record_plain_probe(spec, path) : sim::record_injector(spec, path);
        set.push_back({c, examine(probe.samples, spec.engine, c)});
        CAPTURE(plain, spec.seed, c);
        CHECK(set.back().recording.missed == 0);
        CHECK_THAT(set.back().recording.open_close_ms, WithinAbs(3.0, 0.2));
    }
    for (const auto& v : compare_injectors(set, spec.engine).injectors) CHECK(v.verdict == InjectorVerdict::regular);
}

TEST_CASE("Injectors: a weak one is not taken for its neighbours, whose places it leaves as they are",
          "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, 8201);
    spec.health[0].level = 0.35;
    spec.health[3].level = 0.0;
    const auto set = test_set(spec, 900.0, spec.engine);
    CHECK(set.verdicts.injectors[0].verdict == InjectorVerdict::differs);
    CHECK(set.verdicts.injectors[3].verdict == InjectorVerdict::silent);
}

TEST_CASE("Injectors: a level by the waveform in common and one by the bands are in the same unit",
          "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, GENERATE(8301U, 8302U, 8303U, 8304U, 8305U, 8306U));
    spec.snr_db = 20.0;
    spec.neighbour_level = 0.0;
    CAPTURE(spec.seed);
    const auto x = sim::record_injector(spec, idle(900.0, 1)).samples;
    const auto alone = examine(x, spec.engine, 1);
    const auto perhaps_with_others = examine(x, four(Injection::simultaneous), 1);
    REQUIRE(alone.common_share > kOnePart);
    CHECK_THAT(alone.level_db, WithinAbs(perhaps_with_others.level_db, 0.5));
}

TEST_CASE("Injectors: a faint one's level is told right", "[dsp][injectors]") {
    const SetCondition condition{.name = "faint"};
    std::vector<double> weak_db;
    for (std::uint64_t seed = 97101; seed < 97109; ++seed) {
        auto drawn = draw_set(condition, seed);
        for (auto& h : drawn.spec.health) h = {.jitter_us = drawn.jitter_us};
        drawn.spec.health[1].level = 0.45;
        std::vector<ProbedInjector> set;
        for (int c = 1; c <= 4; ++c)
            set.push_back({c, examine(record(drawn, condition, c).samples, drawn.spec.engine, c)});
        const auto verdicts = compare_injectors(set, drawn.spec.engine).injectors;
        CAPTURE(seed, verdicts[1].level_db);
        for (const std::size_t i : {0U, 2U, 3U}) CHECK_THAT(verdicts[i].level_db, WithinAbs(0.0, 2.0));
        weak_db.push_back(verdicts[1].level_db);
    }
    std::sort(weak_db.begin(), weak_db.end());
    CHECK_THAT(weak_db[3], WithinAbs(20.0 * std::log10(0.45), 1.0));
    CHECK(weak_db[1] > -9.5);  // a silent one's neighbours are at -12
}

TEST_CASE("Injectors: clicks alone, without firing, noise or scatter, are counted at their own rate",
          "[dsp][injectors]") {
    const double rpm = GENERATE(680.0, 800.0, 850.0);
    const double noise = GENERATE(0.0, 1e-3);
    CAPTURE(rpm, noise);
    auto engine = four(Injection::sequential);
    engine.idle_low_rpm = 600.0;
    engine.idle_high_rpm = 1000.0;
    std::vector<float> x(static_cast<std::size_t>(12.0 * kRate_hz));
    auto random = sim::sub_stream(3, "clean clicks");
    for (auto& v : x) v = static_cast<float>(noise * sim::gaussian(random));
    const auto click = [&](double at_s, double hz) {
        for (auto i = static_cast<std::size_t>(std::ceil(at_s * kRate_hz)); i < x.size(); ++i) {
            const double t = static_cast<double>(i) / kRate_hz - at_s;
            if (t > 10e-3) break;
            x[i] += static_cast<float>(0.2 * std::exp(-t / 0.35e-3) * std::sin(2.0 * std::numbers::pi * hz * t));
        }
    };
    for (double t = 0.05; t < 11.9; t += 120.0 / rpm) {
        click(t, 3900.0);
        click(t + 2.8e-3, 5200.0);
    }
    const auto heard = examine(x, engine, 1);
    CHECK_THAT(heard.rpm, WithinAbs(rpm, 2.0));
    CHECK(heard.missed == 0);
}

TEST_CASE("Injectors: beside louder ticks of the engine a silent one is silent and a weak one heard",
          "[dsp][injectors]") {
    const SetCondition condition{.name = "ticks"};
    int silent = 0;
    int weak = 0;
    int sound = 0;
    constexpr int kSets = 6;
    for (std::uint64_t seed = 97001; seed < 97001 + kSets; ++seed) {
        auto drawn = draw_set(condition, seed);
        for (auto& h : drawn.spec.health) h = {.jitter_us = drawn.jitter_us};
        drawn.spec.health[1].level = 0.0;
        drawn.spec.health[3].level = 0.45;
        std::vector<ProbedInjector> set;
        for (int c = 1; c <= 4; ++c) {
            const auto x = record(drawn, condition, c).samples;
            const auto readings = readings_of_rumble(x, condition.rate_hz, drawn.spec.engine);
            set.push_back({c, examine_probe(x, condition.rate_hz, readings, drawn.spec.engine, c)});
        }
        const auto verdicts = compare_injectors(set, drawn.spec.engine).injectors;
        silent += verdicts[1].verdict == InjectorVerdict::silent ? 1 : 0;
        weak += verdicts[3].verdict == InjectorVerdict::differs && verdicts[3].reasons.weaker ? 1 : 0;
        for (const std::size_t i : {0U, 2U}) sound += verdicts[i].verdict == InjectorVerdict::regular ? 1 : 0;
    }
    CHECK(silent == kSets);
    CHECK(weak >= kSets - 1);
    CHECK(sound >= 2 * kSets - 1);
}

TEST_CASE("Injectors: the opening time is mostly told in a narrow band, too", "[dsp][injectors]") {
    constexpr double kNarrow_hz = 8000.0;
    int told = 0;
    for (std::uint64_t seed = 80; seed < 92; ++seed) {
        auto spec = sound_set(Injection::sequential, seed);
        spec.sample_rate_hz = kNarrow_hz;
        const auto x = sim::record_injector(spec, idle(800.0, 9)).samples;
        const auto r = examine_probe(x, kNarrow_hz, readings_of_rumble(x, kNarrow_hz, spec.engine), spec.engine, 1);
        told += std::fabs(r.open_close_ms - spec.health[0].open_close_ms) < 0.25 ? 1 : 0;
    }
    CHECK(told >= 7);
}

TEST_CASE("Injectors: where single clicks drown, their scatter is not known", "[dsp][injectors]") {
    auto spec = sound_set(Injection::sequential, GENERATE(91U, 92U, 93U));
    spec.firing_heard = false;
    const auto heard = examine(sim::record_injector(spec, idle(800.0, 9)).samples, spec.engine, 1);
    CHECK_THAT(heard.jitter_us, WithinAbs(80.0, 25.0));
    spec.snr_db = -2.0;
    const auto drowned = examine(sim::record_injector(spec, idle(800.0, 9)).samples, spec.engine, 1);
    CHECK(drowned.repeats);
    CHECK(std::isnan(drowned.jitter_us));
}

TEST_CASE("Injectors: ticks as loud as clicks, and twice as often, do not tell how often an injector opens",
          "[dsp][injectors]") {
    // Two silent ones, and a weak one beside the only sound one.
    const SetCondition row{.name = "sequential"};
    const auto drawn = draw_set(row, 950072);
    REQUIRE(drawn.spec.health[0].level == 0.0);
    REQUIRE(drawn.spec.health[3].level == 0.0);
    std::vector<ProbedInjector> probed;
    for (int c = 1; c <= 4; ++c) {
        const auto x = record(drawn, row, c).samples;
        const auto readings = readings_of_rumble(x, row.rate_hz, drawn.spec.engine);
        probed.push_back({c, examine_probe(x, row.rate_hz, readings, drawn.spec.engine, c)});
    }
    CHECK(probed[0].recording.each_turn);
    CHECK(probed[3].recording.each_turn);
    const auto set = compare_injectors(probed, drawn.spec.engine);
    CHECK_FALSE(set.each_turn);
    CHECK_FALSE(set.scheme_disagrees);
    CHECK(set.injectors[0].verdict != InjectorVerdict::regular);
    CHECK(set.injectors[2].verdict == InjectorVerdict::regular);
    CHECK(set.injectors[3].verdict != InjectorVerdict::regular);
}
