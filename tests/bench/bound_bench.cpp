// The idle tracker against the Cramer-Rao bound: a steady engine of nothing but firing lines, in white noise, heard by
// a flat microphone.
//   bound_bench [--engines N] [--seconds S] [--first-seed K]
// The bound is that of the common fundamental of M sinusoids with unknown amplitudes and phases, from n samples in
// white noise of variance s2 (Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993,
// example 3.14, for one line; lines of one fundamental add their information; from memory):
//   var(w0) >= 24 s2 / (n (n^2 - 1) sum over m of m^2 A_m^2), w0 in radians a sample.
// Amplitudes are measured on the clean sound, which is made of these lines alone: once of all of them, once of those up
// to 600 Hz, which are what the tracker uses; the noise is set against the lines that are there. The tracker cannot
// meet the bound: it does not know that the speed is steady. "0.5 s": the bound for the length of its transforms;
// "window": for all the sound it looks at for one reading. Error: root of the mean square of locked readings within 3 %
// of the truth, which is what the bound speaks of; typical: their median error over 0.6745, which rare slips do not
// move.
#include "dsp/idle_tracker.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/session.hpp"
#include "dsp/statistics.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

#include <cmath>
#include <complex>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>
#include <vector>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 16000.0;
constexpr double kUsed_hz = 600.0;

struct Lines {
    double weighted = 0.0;  ///< sum of m^2 A_m^2
    double power = 0.0;
};

/// Every line of the firing below a frequency, by projection over all of the sound, which is left with these alone.
Lines keep_lines(std::vector<float>& x, double firing_hz, double below_hz) {
    Lines lines;
    std::vector<float> kept(x.size(), 0.F);
    for (int m = 1; m * firing_hz < below_hz; ++m) {
        const auto turn = std::polar(1.0, -2.0 * std::numbers::pi * m * firing_hz / kRate_hz);
        std::complex<double> at = 1.0, sum = 0.0;
        for (const float v : x) {
            sum += static_cast<double>(v) * at;
            at *= turn;
        }
        const double amplitude = 2.0 * std::abs(sum) / static_cast<double>(x.size());
        lines.weighted += m * m * amplitude * amplitude;
        lines.power += 0.5 * amplitude * amplitude;
        auto line = 2.0 / static_cast<double>(x.size()) * sum;
        for (float& v : kept) {
            v += static_cast<float>(line.real());
            line *= std::conj(turn);
        }
    }
    x = std::move(kept);
    return lines;
}

double bound_rpm(const Lines& lines, double noise_variance, double window_s, double rpm, double firing_hz) {
    const double n = window_s * kRate_hz;
    const double sd_w0 = std::sqrt(24.0 * noise_variance / (n * (n * n - 1.0) * lines.weighted));
    return rpm * sd_w0 * kRate_hz / (2.0 * std::numbers::pi * firing_hz);
}

/// One row of the table: every engine's lines below a frequency, in noise.
void measure(double below_hz, double snr_db, int engines, double seconds, std::uint64_t first_seed) {
    std::vector<double> errors;
    double squares = 0.0, good = 0.0, locked = 0.0, asked = 0.0, short_bound = 0.0, long_bound = 0.0;
    for (int e = 0; e < engines; ++e) {
        const auto seed = first_seed + static_cast<std::uint64_t>(e);
        std::mt19937_64 random(seed);
        const double rpm = std::uniform_real_distribution<double>(700.0, 950.0)(random);
        sim::EngineSoundSpec plain;
        plain.sample_rate_hz = kRate_hz;
        plain.seed = seed;
        auto spec = sim::lines_only(plain);
        spec.engine.cylinders = 4;
        spec.engine.idle_low_rpm = std::floor(rpm / 50.0) * 50.0 - 50.0;
        spec.engine.idle_high_rpm = spec.engine.idle_low_rpm + 250.0;
        sim::EngineSound engine(spec, sim::SpeedPath{std::vector{rpm, rpm}});
        auto x = sim::render_seconds(engine, seconds);
        const double firing_hz = rpm * 4.0 / 120.0;
        const auto lines = keep_lines(x, firing_hz, below_hz);
        const double variance = lines.power * std::pow(10.0, -snr_db / 10.0);
        std::normal_distribution<float> noise(0.0F, static_cast<float>(std::sqrt(variance)));
        for (float& v : x) v += noise(random);
        IdleTracker tracker({.sample_rate_hz = kRate_hz, .engine = spec.engine});
        std::vector<RpmReading> readings;
        const auto keep = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); };
        keep(tracker.process(x));
        keep(tracker.finish());
        for (const auto& r : readings) {
            asked += 1.0;
            if (!r.locked) continue;
            locked += 1.0;
            if (std::abs(r.rpm - rpm) > 0.03 * rpm) continue;
            good += 1.0;
            squares += (r.rpm - rpm) * (r.rpm - rpm);
            errors.push_back(std::abs(r.rpm - rpm));
        }
        short_bound += bound_rpm(lines, variance, 0.5, rpm, firing_hz) / engines;
        long_bound += bound_rpm(lines, variance, 2.0 * tracker.latency().value, rpm, firing_hz) / engines;
    }
    const double error = std::sqrt(squares / good);
    const double typical = stats::median(errors) / 0.6745;
    char name[40];
    std::snprintf(name, sizeof name, "%s lines, %+.0f dB", below_hz == kUsed_hz ? "used" : "all", snr_db);
    std::printf("%-24s %9.1f %9.4f %9.4f %9.4f %8.1f %9.4f %8.1f\n", name, 100.0 * locked / asked, error, typical,
                short_bound, error / short_bound, long_bound, error / long_bound);
    std::fflush(stdout);
    bench::keep_row("bound", name,
                    {{"locked_percent", 100.0 * locked / asked},
                     {"error_rpm", error},
                     {"typical_error_rpm", typical},
                     {"bound_half_second_rpm", short_bound},
                     {"ratio_to_half_second_bound", error / short_bound},
                     {"bound_window_rpm", long_bound},
                     {"ratio_to_window_bound", error / long_bound}});
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const int engines = words.count("--engines", 6);
    const double seconds = words.number("--seconds", 40.0);
    const auto first_seed = words.seed("--first-seed", 900);
    words.done();
    std::printf("%-24s %9s %9s %9s %9s %8s %9s %8s\n", "4 cylinders, 16 kHz", "locked %", "error", "typical", "bound",
                "ratio", "bound", "ratio");
    std::printf("%-24s %9s %9s %9s %9s %8s %9s %8s\n", "", "", "rpm", "rpm", "0.5 s", "", "window", "");
    for (const double below_hz : {0.5 * kRate_hz, kUsed_hz})
        for (const double snr_db : {20.0, 10.0, 0.0, -6.0}) measure(below_hz, snr_db, engines, seconds, first_seed);
    return 0;
}
