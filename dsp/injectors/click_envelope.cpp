#include "dsp/injectors/click_envelope.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace idlehark {

namespace {
constexpr double kMargin_s = 2e-3;  // each side: the filter's own ringing and the wrap of the transform
}

ClickEnvelope::ClickEnvelope(AudioView x, double sample_rate_hz, std::span<const double> frequencies_hz,
                             std::span<const double> weights, int reach)
    : x_(x),
      rate_hz_(sample_rate_hz),
      reach_(reach),
      fft_(RealFft::good_size(
          static_cast<std::size_t>(std::ceil(2.0 * (reach * kStep_s + kMargin_s) * sample_rate_hz)) + 2)),
      gain_(fft_.bins(), 0.F),
      segment_(fft_.size()),
      real_(fft_.size()),
      imaginary_(fft_.size()),
      base_(fft_.size()),
      spectrum_(fft_.bins()) {
    double sum = 0.0;
    double moment = 0.0;
    for (std::size_t b = 0; b < gain_.size(); ++b) {
        const double f = static_cast<double>(b) * rate_hz_ / static_cast<double>(fft_.size());
        const double half = frequencies_hz.size() > 1 ? 0.5 * (frequencies_hz[1] - frequencies_hz[0]) : 500.0;
        if (f < frequencies_hz.front() - half || f > frequencies_hz.back() + half) continue;
        const auto above = std::lower_bound(frequencies_hz.begin(), frequencies_hz.end(), f) - frequencies_hz.begin();
        const auto i = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(above, 1, std::ssize(frequencies_hz) - 1));
        const double share =
            std::clamp((f - frequencies_hz[i - 1]) / (frequencies_hz[i] - frequencies_hz[i - 1]), 0.0, 1.0);
        gain_[b] = static_cast<float>(std::sqrt(std::max(0.0, std::lerp(weights[i - 1], weights[i], share))) /
                                      static_cast<double>(fft_.size()));
        sum += static_cast<double>(gain_[b]);
        moment += static_cast<double>(gain_[b]) * f;
    }
    const double centre_hz = sum > 0.0 ? moment / sum : 0.0;
    down_.resize(fft_.size());
    for (std::size_t i = 0; i < down_.size(); ++i)
        down_[i] = std::complex<float>(
            std::polar(1.0, -2.0 * std::numbers::pi * centre_hz * static_cast<double>(i) / rate_hz_));
}

void ClickEnvelope::read(double time_s, std::span<std::complex<float>> out) {
    const auto first = static_cast<std::ptrdiff_t>(std::floor((time_s - reach_ * kStep_s - kMargin_s) * rate_hz_));
    for (std::size_t i = 0; i < segment_.size(); ++i) {
        const auto at = first + static_cast<std::ptrdiff_t>(i);
        const bool inside = at >= 0 && at < std::ssize(x_);
        const float v = inside ? x_[static_cast<std::size_t>(at)] : 0.F;
        segment_[i] = std::isfinite(v) ? v : 0.F;
    }
    fft_.forward(segment_, spectrum_);
    for (std::size_t b = 0; b < spectrum_.size(); ++b) spectrum_[b] *= gain_[b];
    fft_.inverse(spectrum_, real_);
    for (auto& v : spectrum_) v = {v.imag(), -v.real()};
    fft_.inverse(spectrum_, imaginary_);
    for (std::size_t i = 0; i < base_.size(); ++i) {
        const float re = real_[i];
        const float im = imaginary_[i];
        base_[i] = {re * down_[i].real() - im * down_[i].imag(), re * down_[i].imag() + im * down_[i].real()};
    }
    for (std::size_t i = 0; i < out.size(); ++i) {
        const double at =
            (time_s + (static_cast<double>(i) - reach_) * kStep_s) * rate_hz_ - static_cast<double>(first);
        const auto k = std::min(static_cast<std::size_t>(std::max(at, 0.0)), base_.size() - 2);
        const auto share = static_cast<float>(at - static_cast<double>(k));
        out[i] = base_[k] + share * (base_[k + 1] - base_[k]);
    }
}

}  // namespace idlehark
