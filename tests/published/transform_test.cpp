#include "dsp/real_fft.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include <catch2/catch.hpp>
#include <fftw3.h>

using namespace idlehark;
using Catch::Matchers::WithinAbs;

namespace {

std::vector<std::complex<double>> naive_dft(const std::vector<float>& x) {
    std::vector<std::complex<double>> bins(x.size() / 2 + 1);
    for (std::size_t b = 0; b < bins.size(); ++b)
        for (std::size_t i = 0; i < x.size(); ++i)
            bins[b] += static_cast<double>(x[i]) *
                       std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(b * i % x.size()) /
                                           static_cast<double>(x.size()));
    return bins;
}

std::vector<std::complex<double>> fftw_dft(const std::vector<float>& x) {
    std::vector<double> in(x.begin(), x.end());
    std::vector<std::complex<double>> bins(x.size() / 2 + 1);
    const fftw_plan plan = fftw_plan_dft_r2c_1d(static_cast<int>(x.size()), in.data(),
                                                reinterpret_cast<fftw_complex*>(bins.data()), FFTW_ESTIMATE);
    fftw_execute(plan);
    fftw_destroy_plan(plan);
    return bins;
}

}  // namespace

TEST_CASE("RealFft: agrees with the definition and with FFTW", "[published][fft]") {
    std::mt19937 random(11);
    std::normal_distribution<float> gauss;
    for (const std::size_t n : {2u, 6u, 30u, 480u, 500u, 1024u, 4096u, 48000u}) {
        CAPTURE(n);
        std::vector<float> x(n);
        for (float& v : x) v = gauss(random);
        std::vector<std::complex<float>> bins(n / 2 + 1);
        RealFft fft(n);
        fft.forward(x, bins);
        // Rounding of a single-precision transform: about 6e-8 sqrt(log2 n) of the root sum of squares (a random walk
        // over the stages); three times that for the largest of n/2 bins.
        double energy = 0.0;
        for (const float v : x) energy += static_cast<double>(v) * static_cast<double>(v);
        const double allowed = 4.0 * 6e-8 * std::sqrt(std::log2(static_cast<double>(n)) + 1.0) * std::sqrt(energy);
        const auto compare = [&](const std::vector<std::complex<double>>& truth) {
            double worst = 0.0;
            for (std::size_t b = 0; b < truth.size(); ++b)
                worst = std::max(worst, std::abs(std::complex<double>(bins[b]) - truth[b]));
            CHECK(worst < allowed);
        };
        compare(fftw_dft(x));
        if (n <= 4096) compare(naive_dft(x));
        std::vector<float> back(n);
        fft.inverse(bins, back);
        double worst = 0.0;
        for (std::size_t i = 0; i < n; ++i)
            worst = std::max(
                worst, std::abs(static_cast<double>(back[i]) / static_cast<double>(n) - static_cast<double>(x[i])));
        CHECK(worst < allowed);
    }
}

TEST_CASE("Windows: gain, noise bandwidth and scallop loss as printed", "[published][windows]") {
    // F. J. Harris, Proc. IEEE 66 (1978) 51, table I: Hann 0.50, 1.50 bins, 1.42 dB (read from an oscilloscope manual
    // that reprints them, with rectangular 1.0 and 3.92 dB); Blackman-Harris four-term 0.36, 2.00, 0.83 dB (from
    // memory). The further digits are computed from the coefficients, which a second instrument manual prints.
    constexpr std::size_t kN = 4096;
    const auto hann = hann_window(kN);
    CHECK_THAT(coherent_gain(hann), WithinAbs(0.5, 1e-6));
    CHECK_THAT(noise_bandwidth_bins(hann), WithinAbs(1.5, 1e-5));
    CHECK_THAT(scallop_loss_db(hann), WithinAbs(1.424, 1e-3));
    const auto harris = blackman_harris_window(kN);
    CHECK_THAT(coherent_gain(harris), WithinAbs(0.35875, 1e-6));
    CHECK_THAT(noise_bandwidth_bins(harris), WithinAbs(2.0044, 1e-4));
    CHECK_THAT(scallop_loss_db(harris), WithinAbs(0.826, 1e-3));
    const std::vector<float> flat(kN, 1.0F);
    CHECK_THAT(coherent_gain(flat), WithinAbs(1.0, 1e-12));
    CHECK_THAT(noise_bandwidth_bins(flat), WithinAbs(1.0, 1e-12));
    CHECK_THAT(scallop_loss_db(flat), WithinAbs(3.922, 1e-3));
    // Worst-case processing loss, Harris: 3.18 and 3.85 dB.
    CHECK_THAT(scallop_loss_db(hann) + 10.0 * std::log10(noise_bandwidth_bins(hann)), WithinAbs(3.18, 0.01));
    CHECK_THAT(scallop_loss_db(harris) + 10.0 * std::log10(noise_bandwidth_bins(harris)), WithinAbs(3.85, 0.01));
}
