#include "dsp/real_fft.hpp"

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using idlehark::RealFft;

TEST_CASE("RealFft: agrees with the plain sum and comes back", "[dsp][fft]") {
    const std::size_t n = GENERATE(2U, 30U, 64U, 360U);
    CAPTURE(n);
    std::mt19937 random(7);
    std::normal_distribution<float> noise;
    std::vector<float> x(n);
    for (auto& v : x) v = noise(random);
    RealFft fft(n);
    std::vector<std::complex<float>> bins(fft.bins());
    fft.forward(x, bins);
    for (std::size_t b = 0; b < bins.size(); ++b) {
        std::complex<double> sum;
        for (std::size_t i = 0; i < n; ++i)
            sum += static_cast<double>(x[i]) *
                   std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>((b * i) % n) / static_cast<double>(n));
        // Single precision: relative 1e-7 per stage, a handful of stages, values of size sqrt(n).
        CHECK(std::abs(sum - std::complex<double>(bins[b])) < 1e-5 * std::sqrt(static_cast<double>(n)));
    }
    std::vector<float> back(n);
    fft.inverse(bins, back);
    for (std::size_t i = 0; i < n; ++i) CHECK(back[i] / static_cast<float>(n) == Approx(x[i]).margin(1e-5));
}

TEST_CASE("RealFft: takes only sizes that do not allocate inside", "[dsp][fft]") {
    CHECK_THROWS_AS(RealFft(0), std::invalid_argument);
    CHECK_THROWS_AS(RealFft(15), std::invalid_argument);
    CHECK_THROWS_AS(RealFft(1400), std::invalid_argument);
    CHECK(RealFft::good_size(1400) == 1440);
    CHECK(RealFft::good_size(0) == 2);
}
