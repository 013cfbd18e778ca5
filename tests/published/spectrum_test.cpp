#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/speed_path.hpp"

#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::WithinAbs;

namespace {

/// Amplitude of the line at f_hz over a whole number of its periods.
double line_amplitude(const std::vector<float>& x, std::size_t from, std::size_t n, double f_hz, double rate_hz) {
    std::complex<double> sum = 0.0;
    for (std::size_t i = 0; i < n; ++i)
        sum += static_cast<double>(x[from + i]) *
               std::polar(1.0, -2.0 * std::numbers::pi * f_hz * static_cast<double>(i) / rate_hz);
    return 2.0 * std::abs(sum) / static_cast<double>(n);
}

}  // namespace

TEST_CASE("Half orders: the lines of a rendered engine are the DFT of its cylinders' strengths", "[published][sim]") {
    // Identity: a cycle of N equal pulses of strengths p[k], evenly spaced, has at m times the cycle frequency the
    // amplitude |DFT_N(p)[m]| times the pulse's own spectrum. Derived from the definition of the DFT (shift theorem).
    constexpr double kRate_hz = 16000.0;
    const std::vector<std::vector<double>> cases{
        {1.0, 1.0, 1.0, 1.0}, {1.0, 0.6, 1.0, 1.0}, {0.5, 1.0, 0.5, 1.0}, {1.0, 0.7, 1.0, 1.0, 0.9, 1.0}};
    for (const auto& strengths : cases) {
        const auto n = strengths.size();
        CAPTURE(n, strengths[0], strengths[1]);
        sim::EngineSoundSpec spec;
        spec.engine.cylinders = static_cast<int>(n);
        spec.sample_rate_hz = kRate_hz;
        spec.cylinder_strengths = strengths;
        spec = sim::lines_only(spec);
        spec.cylinder_strengths = strengths;
        constexpr double kRpm = 800.0;
        sim::SpeedPathSpec steady;
        steady.duration_s = 12.0;
        steady.mean_rpm = kRpm;
        sim::EngineSound engine(spec, sim::SpeedPath(steady));
        const auto x = sim::render_seconds(engine, 8.0);
        const double cycle_hz = kRpm / 120.0;
        const auto period_frames = static_cast<std::size_t>(std::lround(40.0 * kRate_hz / cycle_hz));  // 40 cycles: 6 s
        const auto start = static_cast<std::size_t>(kRate_hz);
        const double scale = 2.0 * cycle_hz / kRate_hz;
        const double whole =
            scale * engine.pulse_response(0, 3.0 * static_cast<double>(n) * cycle_hz) * static_cast<double>(n);
        for (std::size_t m = 1; m <= 3 * n; ++m) {
            std::complex<double> dft = 0.0;
            for (std::size_t k = 0; k < n; ++k)
                dft += strengths[k] *
                       std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(k * m) / static_cast<double>(n));
            CAPTURE(m);
            const double f_hz = static_cast<double>(m) * cycle_hz;
            const double expected = scale * engine.pulse_response(0, f_hz) * std::abs(dft);
            // Pulses are placed to 1/8 sample with interpolation: jitter below -50 dB of the whole comb.
            CHECK_THAT(line_amplitude(x, start, period_frames, f_hz, kRate_hz),
                       WithinAbs(expected, 0.01 * expected + 0.003 * whole));
        }
    }
}

TEST_CASE("Frequency bound: the maximum-likelihood estimate of one line meets the Cramer-Rao bound",
          "[published][bound]") {
    // D. C. Rife, R. R. Boorstyn, Single-tone parameter estimation from discrete-time observations, IEEE Trans. IT-20
    // (1974) 591: complex tone 6 s2/(A^2 N (N^2 - 1)). For a real tone of amplitude A in real white noise of variance
    // s2, the form 24 s2/(A^2 N (N^2 - 1)) rad^2 (constant re-derived; form from memory) against a Monte Carlo of the
    // estimator that attains it, the peak of the periodogram.
    constexpr int kN = 256;
    constexpr double kAmplitude = 1.0;
    constexpr double kSd = 0.7;  // 0 dB and some: above the threshold where outliers set in
    constexpr int kTrials = 2000;
    std::mt19937_64 random(2024);
    std::normal_distribution<double> gauss(0.0, kSd);
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    double square = 0.0;
    for (int trial = 0; trial < kTrials; ++trial) {
        const double w = std::numbers::pi * (0.2 + 0.6 * uniform(random));  // away from 0 and pi
        const double phase = 2.0 * std::numbers::pi * uniform(random);
        std::vector<double> x(kN);
        for (int i = 0; i < kN; ++i)
            x[static_cast<std::size_t>(i)] = kAmplitude * std::cos(w * i + phase) + gauss(random);
        const auto power = [&](double v) {
            std::complex<double> sum = 0.0;
            std::complex<double> turn = 1.0;
            const auto step = std::polar(1.0, -v);
            for (const double s : x) {
                sum += s * turn;
                turn *= step;
            }
            return std::norm(sum);
        };
        // The global peak lies in the main lobe round the truth at this signal-to-noise ratio: coarse grid, then golden
        // section.
        const double half_bin = std::numbers::pi / kN;
        double low = w - half_bin;
        double high = w + half_bin;
        constexpr double kGolden = 0.6180339887498949;
        double a = high - kGolden * (high - low);
        double b = low + kGolden * (high - low);
        double pa = power(a);
        double pb = power(b);
        for (int i = 0; i < 28; ++i) {
            if (pa < pb) {
                low = a;
                a = b;
                pa = pb;
                b = low + kGolden * (high - low);
                pb = power(b);
            } else {
                high = b;
                b = a;
                pb = pa;
                a = high - kGolden * (high - low);
                pa = power(a);
            }
        }
        const double error = 0.5 * (low + high) - w;
        square += error * error;
    }
    const double bound = 24.0 * kSd * kSd / (kAmplitude * kAmplitude * kN * (double(kN) * kN - 1.0));
    // Mean of 2000 squared Gaussian errors: relative sd sqrt(2/2000) = 3.2 %; three of them. The half-bin search range
    // is 14 sd of the error, so it hides nothing.
    CHECK_THAT(square / kTrials / bound, WithinAbs(1.0, 0.095));
}
