#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace idlehark::sim {

/// Second-order filter, transposed direct form II. Designs by the bilinear transform of the usual analogue prototypes,
/// frequency pre-warped; the peaking and band-pass forms are those in common use in audio equalisers (from memory).
class Biquad {
   public:
    Biquad() = default;
    Biquad(double b0, double b1, double b2, double a0, double a1, double a2) noexcept
        : b0_(b0 / a0), b1_(b1 / a0), b2_(b2 / a0), a1_(a1 / a0), a2_(a2 / a0) {}

    static Biquad low_pass(double rate_hz, double corner_hz, double q);
    static Biquad high_pass(double rate_hz, double corner_hz, double q);
    static Biquad band_pass(double rate_hz, double centre_hz, double q);  ///< gain 1 at the centre
    static Biquad peak(double rate_hz, double centre_hz, double q, double gain_db);

    double operator()(double x) noexcept {
        const double y = b0_ * x + z1_;
        z1_ = b1_ * x - a1_ * y + z2_;
        z2_ = b2_ * x - a2_ * y;
        return y;
    }
    [[nodiscard]] std::complex<double> response(double rate_hz, double f_hz) const {
        const auto z = std::polar(1.0, -2.0 * std::numbers::pi * f_hz / rate_hz);
        return (b0_ + z * (b1_ + z * b2_)) / (1.0 + z * (a1_ + z * a2_));
    }

   private:
    double b0_ = 1.0, b1_ = 0.0, b2_ = 0.0, a1_ = 0.0, a2_ = 0.0;
    double z1_ = 0.0, z2_ = 0.0;
};

/// Filters one after the other.
class Cascade {
   public:
    void add(const Biquad& b) { stages_.push_back(b); }
    double operator()(double x) noexcept {
        for (auto& s : stages_) x = s(x);
        return x;
    }
    [[nodiscard]] std::complex<double> response(double rate_hz, double f_hz) const {
        std::complex<double> h = 1.0;
        for (const auto& s : stages_) h *= s.response(rate_hz, f_hz);
        return h;
    }
    /// RMS that unit white noise has behind the filters.
    [[nodiscard]] double noise_gain(double rate_hz) const;

   private:
    std::vector<Biquad> stages_;
};

/// Chebyshev type I high-pass of even order: `ripple_db` above the corner, as steep as its order allows below.
void add_chebyshev_high_pass(Cascade& c, double rate_hz, double corner_hz, int order, double ripple_db);

}  // namespace idlehark::sim
