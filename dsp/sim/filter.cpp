#include "dsp/sim/filter.hpp"

namespace idlehark::sim {

namespace {
constexpr int kNoiseGainPoints = 2048;

struct Warped {
    double cosine;
    double alpha;
    Warped(double rate_hz, double f_hz, double q) {
        const double w = 2.0 * std::numbers::pi * f_hz / rate_hz;
        cosine = std::cos(w);
        alpha = std::sin(w) / (2.0 * q);
    }
};
}  // namespace

Biquad Biquad::low_pass(double rate_hz, double corner_hz, double q) {
    const Warped w(rate_hz, corner_hz, q);
    const double g = 1.0 - w.cosine;
    return {g / 2.0, g, g / 2.0, 1.0 + w.alpha, -2.0 * w.cosine, 1.0 - w.alpha};
}

Biquad Biquad::high_pass(double rate_hz, double corner_hz, double q) {
    const Warped w(rate_hz, corner_hz, q);
    const double g = 1.0 + w.cosine;
    return {g / 2.0, -g, g / 2.0, 1.0 + w.alpha, -2.0 * w.cosine, 1.0 - w.alpha};
}

Biquad Biquad::band_pass(double rate_hz, double centre_hz, double q) {
    const Warped w(rate_hz, centre_hz, q);
    return {w.alpha, 0.0, -w.alpha, 1.0 + w.alpha, -2.0 * w.cosine, 1.0 - w.alpha};
}

Biquad Biquad::peak(double rate_hz, double centre_hz, double q, double gain_db) {
    const Warped w(rate_hz, centre_hz, q);
    const double a = std::pow(10.0, gain_db / 40.0);
    return {1.0 + w.alpha * a, -2.0 * w.cosine, 1.0 - w.alpha * a,
            1.0 + w.alpha / a, -2.0 * w.cosine, 1.0 - w.alpha / a};
}

double Cascade::noise_gain(double rate_hz) const {
    double power = 0.0;
    for (int i = 0; i < kNoiseGainPoints; ++i)
        power += std::norm(response(rate_hz, 0.5 * rate_hz * (i + 0.5) / kNoiseGainPoints));
    return std::sqrt(power / kNoiseGainPoints);
}

void add_chebyshev_high_pass(Cascade& c, double rate_hz, double corner_hz, int order, double ripple_db) {
    // Analogue low-pass poles on an ellipse, s -> corner/s for the high-pass, then the bilinear transform; each
    // conjugate pair becomes one stage with both zeros at 0 Hz.
    const double epsilon = std::sqrt(std::pow(10.0, ripple_db / 10.0) - 1.0);
    const double mu = std::asinh(1.0 / epsilon) / order;
    const double warped = std::tan(std::numbers::pi * corner_hz / rate_hz);
    for (int k = 0; k < order / 2; ++k) {
        const double theta = std::numbers::pi * (2.0 * k + 1.0) / (2.0 * order);
        const std::complex<double> low(-std::sinh(mu) * std::sin(theta), std::cosh(mu) * std::cos(theta));
        const std::complex<double> s = warped / low;
        const std::complex<double> z = (1.0 + s) / (1.0 - s);
        const double a1 = -2.0 * z.real();
        const double a2 = std::norm(z);
        const double g = (1.0 - a1 + a2) / 4.0;  // gain 1 at half the rate
        c.add(Biquad(g, -2.0 * g, g, 1.0, a1, a2));
    }
}

}  // namespace idlehark::sim
