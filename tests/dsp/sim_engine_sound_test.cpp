#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/filter.hpp"
#include "dsp/sim/phasor.hpp"
#include "dsp/windows.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace idlehark::sim;

namespace {

constexpr double kRate_hz = 16000.0;
constexpr double kRpm = 900.0;
constexpr double kCycle_hz = kRpm / 120.0;  // 7.5 Hz

SpeedPath steady(double rpm = kRpm, int strokes = 4, double duration_s = 60.0) {
    SpeedPathSpec s;
    s.mean_rpm = rpm;
    s.strokes = strokes;
    s.duration_s = duration_s;
    return SpeedPath(s);
}

EngineSoundSpec engine_of(int cylinders, std::uint64_t seed) {
    EngineSoundSpec s;
    s.engine.cylinders = cylinders;
    s.sample_rate_hz = kRate_hz;
    s.seed = seed;
    return s;
}

std::vector<float> settled(EngineSound& e, double seconds) {
    (void)render_seconds(e, 2.0);  // the first responses have built up
    return render_seconds(e, seconds);
}

/// Amplitude of the line at f by a Blackman-Harris weighted sum: other lines a cycle frequency apart over 4 s are 30
/// bins away and 92 dB down.
double line(const std::vector<float>& x, double f_hz) {
    static const auto window = blackman_harris_window(static_cast<std::size_t>(4.0 * kRate_hz));
    REQUIRE(x.size() == window.size());
    std::complex<double> sum = 0.0;
    double weight = 0.0;
    Phasor z(1.0);
    const Phasor turn(std::polar(1.0, -2.0 * std::numbers::pi * f_hz / kRate_hz));
    for (std::size_t i = 0; i < x.size(); ++i, z.turn(turn)) {
        const auto w = static_cast<double>(window[i]);
        sum += w * static_cast<double>(x[i]) * std::complex<double>(z.re, z.im);
        weight += w;
    }
    return 2.0 * std::abs(sum) / weight;
}

double strength_dft(const EngineSoundSpec& s, int m) {
    std::complex<double> sum = 0.0;
    const auto at = firing_fractions(s.engine);
    for (std::size_t i = 0; i < at.size(); ++i)
        sum += (s.cylinder_strengths.empty() ? 1.0 : s.cylinder_strengths[i]) *
               std::polar(1.0, -2.0 * std::numbers::pi * m * at[i]);
    return std::abs(sum);
}

double rms(const std::vector<float>& x) {
    double e = 0.0;
    for (const float v : x) e += static_cast<double>(v) * static_cast<double>(v);
    return std::sqrt(e / static_cast<double>(x.size()));
}

}  // namespace

TEST_CASE("EngineSound: an even engine has lines only at multiples of the firing frequency", "[dsp][sim]") {
    const int cylinders = GENERATE(3, 4, 6, 8);
    EngineSound sound(lines_only(engine_of(cylinders, GENERATE(1u, 2u))), steady());
    const auto x = settled(sound, 4.0);
    double firing = 0.0, others = 0.0;
    for (int m = 1; m <= 12 * cylinders; ++m) {
        const double a = line(x, m * kCycle_hz);
        (m % cylinders == 0 ? firing : others) = std::max(m % cylinders == 0 ? firing : others, a);
    }
    CHECK(firing > 0.005);
    CHECK(others < 1e-3 * firing);  // -60 dB: pulse places are good to about 1/1000 sample
}

TEST_CASE("EngineSound: line amplitudes are pulse response times the DFT of the cylinder strengths", "[dsp][sim]") {
    auto spec = lines_only(engine_of(4, GENERATE(3u, 4u)));
    SECTION("one weak cylinder") { spec.cylinder_strengths = {1.0, 1.0, 0.6, 1.0}; }
    SECTION("two weak cylinders 360 degrees apart") { spec.cylinder_strengths = {0.7, 1.0, 0.7, 1.0}; }
    SECTION("odd fire: two cylinders 270 and 450 degrees apart") {
        spec.engine.cylinders = 2;
        spec.engine.firing_angles_deg = {0.0, 270.0};
    }
    SECTION("odd fire: six cylinders in pairs of 90 and 150 degrees") {
        spec.engine.cylinders = 6;
        spec.engine.firing_angles_deg = {0.0, 90.0, 240.0, 330.0, 480.0, 570.0};
    }
    EngineSound sound(spec, steady());
    const auto x = settled(sound, 4.0);
    for (int m = 8; m <= 100; ++m) {
        const double f = m * kCycle_hz;
        const double expected = 2.0 * kCycle_hz / kRate_hz * sound.pulse_response(0, f) * strength_dft(spec, m);
        CAPTURE(m, expected);
        // 0.5 % for the linear interpolation between kernel rows, 2e-5 (about -60 dB of the largest) where none is due.
        CHECK(line(x, f) == Approx(expected).epsilon(0.005).margin(2e-5));
    }
}

TEST_CASE("EngineSound: one weak cylinder lifts every half order alike", "[dsp][sim]") {
    auto spec = lines_only(engine_of(5, 7));
    spec.cylinder_strengths = {1.0, 1.0, 1.0, 0.7, 1.0};
    EngineSound sound(spec, steady());
    const auto x = settled(sound, 4.0);
    for (int m = 1; m < 40; ++m) {
        if (m % 5 == 0) continue;
        const double f = m * kCycle_hz;
        CHECK(line(x, f) / sound.pulse_response(3, f) == Approx(2.0 * kCycle_hz / kRate_hz * 0.3).epsilon(0.01));
    }
}

TEST_CASE("EngineSound: a two-stroke fires once a turn", "[dsp][sim]") {
    auto spec = lines_only(engine_of(1, 8));
    spec.engine.strokes = 2;
    EngineSound sound(spec, steady(kRpm, 2));
    const auto x = settled(sound, 4.0);
    CHECK(line(x, 45.0 * 2.0) > 10.0 * line(x, 45.0 * 2.0 + 7.5));
    EngineSound wrong_path_is_refused(spec, steady(kRpm, 2));
    CHECK_THROWS_AS(EngineSound(spec, steady(kRpm, 4)), std::invalid_argument);
}

TEST_CASE("EngineSound: firings happen at the phase of the path", "[dsp][sim]") {
    SpeedPathSpec p;
    p.surge_rpm = 60.0;
    p.wander_rpm = 5.0;
    p.seed = 9;
    const SpeedPath path(p);
    auto spec = lines_only(engine_of(3, 9));
    const auto scatter_deg = GENERATE(0.0, 1.5);
    spec.timing_scatter_deg = scatter_deg;
    EngineSound sound(spec, path);
    std::vector<float> block(Source::kBlockFrames);
    double square = 0.0;
    int n = 0;
    for (int b = 0; b < 900; ++b) {
        sound.render(block);
        for (const auto& f : sound.last_firings()) {
            const double off = path.cycles_at(f.time_s) * 3.0 - f.index;
            const double late_deg = (off - 3.0 * std::round(off / 3.0)) / 3.0 * 720.0;
            square += late_deg * late_deg;
            ++n;
        }
    }
    // The first one is at phase 0; scatter may move one across either end.
    CHECK(n ==
          Approx(std::floor(3.0 * path.cycles_at(900 * 1024 / kRate_hz)) + 1).margin(scatter_deg > 0.0 ? 1.0 : 0.0));
    CHECK(std::sqrt(square / n) == Approx(scatter_deg).margin(0.06 + 1e-6));  // n over 1000: 2.2 % of 1.5, times two
}

TEST_CASE("EngineSound: misfires come as often as asked, in the cylinder asked", "[dsp][sim]") {
    auto spec = engine_of(4, 10);
    spec.misfire_probability = {0.0, 0.2, 0.0, 0.0};
    EngineSound sound(spec, steady());
    std::vector<float> block(Source::kBlockFrames);
    int fired = 0, missed = 0;
    for (int b = 0; b < 3000; ++b) {
        sound.render(block);
        for (const auto& f : sound.last_firings()) {
            if (f.index != 1) REQUIRE_FALSE(f.misfire);
            fired += f.index == 1;
            missed += f.misfire;
        }
    }
    CHECK(static_cast<double>(missed) / fired == Approx(0.2).margin(0.04));  // 1440 trials: sd 0.0105, allow 3.8 of it
}

TEST_CASE("EngineSound: the numbers do not depend on the blocks, and restart gives them again", "[dsp][sim]") {
    auto spec = engine_of(6, 11);
    EngineSound whole(spec, steady());
    EngineSound pieces(spec, steady());
    const auto x = render_seconds(whole, 1.5);
    std::vector<float> y(x.size());
    std::size_t at = 0;
    for (std::size_t n = 1; at < y.size(); n = n % 1999 * 7 + 1) {
        const std::size_t take = std::min(n, y.size() - at);
        pieces.render(std::span(y).subspan(at, take));
        pieces.render({});
        at += take;
    }
    CHECK(x == y);
    whole.restart();
    CHECK(render_seconds(whole, 1.5) == x);
    spec.seed = 12;
    EngineSound other(spec, steady());
    CHECK(render_seconds(other, 1.5) != x);
}

TEST_CASE("EngineSound: a stall goes silent", "[dsp][sim]") {
    SpeedPathSpec p;
    p.stall_s = 3.0;
    EngineSound sound(engine_of(4, 13), SpeedPath(p));
    CHECK(rms(render_seconds(sound, 3.0)) > 0.02);
    (void)render_seconds(sound, 1.0);  // 0.8 s of falling speed, then the last responses
    CHECK(rms(render_seconds(sound, 5.0)) == 0.0);
}

TEST_CASE("EngineSound: level is near the one asked for at every rate", "[dsp][sim]") {
    const double rate = GENERATE(8000.0, 16000.0, 44100.0, 48000.0, 192000.0);
    auto spec = engine_of(GENERATE(1, 3, 4, 8, 12), 14);
    spec.sample_rate_hz = rate;
    EngineSound sound(spec, steady());
    const auto x = render_seconds(sound, 4.0);
    CHECK(20.0 * std::log10(rms(x) / spec.level_rms) == Approx(0.0).margin(2.0));
}

TEST_CASE("EngineSound: the same engine sounds the same at two sample rates", "[dsp][sim]") {
    auto spec = lines_only(engine_of(4, 15));
    EngineSound low(spec, steady());
    spec.sample_rate_hz = 3.0 * kRate_hz;
    EngineSound high(spec, steady());
    const auto x = settled(low, 4.0);
    auto fine = settled(high, 4.0);
    std::vector<float> y(x.size());
    // Lines under 2 kHz do not alias when every third sample is taken: modes end at 4.5 kHz, well under 8 kHz.
    for (std::size_t i = 0; i < y.size(); ++i) y[i] = fine[3 * i];
    for (int m = 4; m < 200; m += 4) {
        CAPTURE(m);
        CHECK(20.0 * std::log10(line(x, m * kCycle_hz) / line(y, m * kCycle_hz)) == Approx(0.0).margin(1.0));
    }
}

TEST_CASE("EngineSound: power above 3 kHz swells with the firings and with nothing slower", "[dsp][sim]") {
    auto spec = engine_of(4, GENERATE(21u, 22u));
    spec.strength_scatter = spec.timing_scatter_deg = spec.cylinder_colour = 0.0;
    spec.valve_db = spec.injector_db = kOff_db;
    EngineSound sound(spec, steady());
    Cascade upper;
    for (const double q : {0.54, 1.31}) upper.add(Biquad::high_pass(kRate_hz, 3000.0, q));
    std::vector<float> x(static_cast<std::size_t>(4.0 * kRate_hz), 0.0F);
    double mean = 0.0;
    constexpr int kStretches = 8;  // of 30 whole cycles each, so their powers add up in step
    (void)render_seconds(sound, 2.0);
    for (int k = 0; k < kStretches; ++k) {
        const auto stretch = render_seconds(sound, 4.0);
        for (std::size_t i = 0; i < x.size(); ++i) {
            const double y = upper(static_cast<double>(stretch[i]));
            x[i] += static_cast<float>(y * y);
            mean += y * y / static_cast<double>(x.size());
        }
    }
    // Depth of the modulation of power at each cycle line. Where there is none, noise of B = 1.5 kHz over T = 32 s
    // leaves an rms depth of sqrt(4 * 2 * 2 / (2 B T)) = 0.013 (relative variance of a power 2, noise bandwidth of the
    // window 2 bins): 0.06 is exceeded once in 10^9.
    const double firing = line(x, 4.0 * kCycle_hz) / mean;
    CHECK(firing > 0.2);
    for (const int m : {1, 2, 3}) CHECK(line(x, m * kCycle_hz) / mean < 0.06);
}

TEST_CASE("EngineSound: alternator whine follows the crank and is no order of the firing", "[dsp][sim]") {
    auto spec = lines_only(engine_of(4, GENERATE(23u, 24u)));
    spec.cylinder_strengths = {0.0, 0.0, 0.0, 0.0};
    spec.alternator_db = -10.0;
    const auto strongest_hz = [&](double rpm) {
        EngineSound sound(spec, steady(rpm));
        const auto x = settled(sound, 4.0);
        double best = 0.0, best_hz = 0.0;
        for (double f = 900.0; f < 2500.0; f += 0.5) {  // the window's main lobe is 2 Hz wide
            const double a = line(x, f);
            if (a > best) best = a, best_hz = f;
        }
        return best_hz;
    };
    const double at_900_hz = strongest_hz(900.0);
    CHECK(strongest_hz(990.0) == Approx(1.1 * at_900_hz).margin(1.0));
    const double order = at_900_hz / kCycle_hz;  // half orders
    CHECK(std::abs(order - std::round(order)) > 0.02);
}

TEST_CASE("EngineSound: refuses what cannot be", "[dsp][sim]") {
    auto spec = engine_of(4, 1);
    spec.cylinder_strengths = {1.0};
    CHECK_THROWS_AS(EngineSound(spec, steady()), std::invalid_argument);
    spec = engine_of(4, 1);
    spec.misfire_probability = {0.1, 0.1};
    CHECK_THROWS_AS(EngineSound(spec, steady()), std::invalid_argument);
    spec = engine_of(13, 1);
    CHECK_THROWS_AS(EngineSound(spec, steady()), std::invalid_argument);
    spec = engine_of(4, 1);
    spec.sample_rate_hz = 4000.0;
    CHECK_THROWS_AS(EngineSound(spec, steady()), std::invalid_argument);
}
