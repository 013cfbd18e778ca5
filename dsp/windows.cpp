#include "dsp/windows.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

namespace idlehark {

namespace {
template <std::size_t K>
std::vector<float> cosine_sum(std::size_t n, const std::array<double, K>& c) {
    std::vector<float> w(n);
    for (std::size_t i = 0; i < n; ++i) {
        double sum = 0.0;
        double sign = 1.0;
        for (std::size_t k = 0; k < K; ++k, sign = -sign)
            sum += sign * c[k] * std::cos(2.0 * std::numbers::pi * static_cast<double>(k * i) / static_cast<double>(n));
        w[i] = static_cast<float>(sum);
    }
    return w;
}
}  // namespace

std::vector<float> hann_window(std::size_t n) { return cosine_sum<2>(n, {0.5, 0.5}); }

std::vector<float> blackman_harris_window(std::size_t n) {
    return cosine_sum<4>(n, {0.35875, 0.48829, 0.14128, 0.01168});
}

std::vector<float> faded_window(std::size_t n, std::size_t fade) {
    std::vector<float> w(n, 1.F);
    for (std::size_t i = 0; i < std::min(fade, n / 2); ++i) {
        const double share = (static_cast<double>(i) + 0.5) / static_cast<double>(fade);
        w[i] = w[n - 1 - i] = static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * share));
    }
    return w;
}

double coherent_gain(std::span<const float> window) noexcept {
    double sum = 0.0;
    for (const float w : window) sum += static_cast<double>(w);
    return sum / static_cast<double>(window.size());
}

double noise_bandwidth_bins(std::span<const float> window) noexcept {
    double sum = 0.0;
    double squares = 0.0;
    for (const float w : window) {
        sum += static_cast<double>(w);
        squares += static_cast<double>(w) * static_cast<double>(w);
    }
    return static_cast<double>(window.size()) * squares / (sum * sum);
}

double scallop_loss_db(std::span<const float> window) noexcept {
    std::complex<double> half_bin;
    double sum = 0.0;
    for (std::size_t i = 0; i < window.size(); ++i) {
        const double angle = -std::numbers::pi * static_cast<double>(i) / static_cast<double>(window.size());
        half_bin += static_cast<double>(window[i]) * std::polar(1.0, angle);
        sum += static_cast<double>(window[i]);
    }
    return -20.0 * std::log10(std::abs(half_bin) / sum);
}

}  // namespace idlehark
