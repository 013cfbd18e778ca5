#include "dsp/statistics.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

using namespace idlehark::stats;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

/// NIST's NumAcc pattern: the centre once, then 0.1 below and above it in turn, 500 times.
std::vector<double> num_acc(double centre, double low, double high) {
    std::vector<double> x{centre};
    for (int i = 0; i < 500; ++i) {
        x.push_back(low);
        x.push_back(high);
    }
    return x;
}

}  // namespace

TEST_CASE("Statistics: moments keep their digits on a large offset", "[dsp][statistics]") {
    // 10000000.1 is stored with an error of up to 1e-9, so a deviation of 0.1 has 8 sure digits: 2e-8 relative.
    const auto x = num_acc(10000000.2, 10000000.1, 10000000.3);
    CHECK_THAT(mean(x), WithinRel(10000000.2, 1e-15));
    CHECK_THAT(sample_sd(x), WithinRel(0.1, 2e-8));
    CHECK_THAT(lag1_autocorrelation(x), WithinRel(-0.999, 2e-8));
}

TEST_CASE("Statistics: quantiles are linear between order statistics", "[dsp][statistics]") {
    const std::vector<double> x{4, 1, 3, 2};
    CHECK(median(x) == 2.5);
    CHECK(quantile(x, 0.0) == 1.0);
    CHECK(quantile(x, 1.0) == 4.0);
    CHECK_THAT(quantile(x, 0.1), WithinAbs(1.3, 1e-15));
    CHECK(median_absolute_deviation(std::vector<double>{1, 1, 2, 2, 4, 6, 9}) == 1.0);
    CHECK_THAT(kMadToSd, WithinRel(1.0 / normal_quantile(0.75), 1e-14));
}

TEST_CASE("Statistics: normal quantile inverts the distribution, deep tails too", "[dsp][statistics]") {
    for (const double p : {1e-300, 1e-100, 1e-12, 0.001, 0.025, 0.2, 0.5, 0.8, 0.975})
        CHECK_THAT(normal_cdf(normal_quantile(p)), WithinRel(p, 2e-12));  // 1e-300: z of 37 amplifies rounding
    CHECK(normal_quantile(0.5) == Approx(0.0).margin(1e-15));
    CHECK_THAT(normal_quantile(0.975), WithinAbs(1.959963984540054, 1e-14));  // published to 16 digits; from memory
}

TEST_CASE("Statistics: Student t agrees with its closed forms and inverts", "[dsp][statistics]") {
    for (const double p : {0.5001, 0.6, 0.9, 0.975, 0.9999, 1.0 - 1e-9}) {
        CAPTURE(p);
        const double tail = 1.0 - p;  // as rounded, like the function sees it
        CHECK_THAT(student_t_quantile(p, 1.0), WithinRel(1.0 / std::tan(std::numbers::pi * tail), 1e-12));
        CHECK_THAT(student_t_quantile(p, 2.0), WithinRel((p - tail) / std::sqrt(2.0 * p * tail), 1e-12));
        for (const double df : {1.0, 1.5, 79.0, 81.0, 3.0, 17.0, 400.0, 1e6})
            CHECK_THAT(student_t_cdf(student_t_quantile(p, df), df), WithinAbs(p, 4e-16 + 1e-11 * tail));
    }
    CHECK(student_t_cdf(0.0, 5.0) == 0.5);
    CHECK_THAT(student_t_cdf(-1e6, 1.0), WithinRel(std::atan(1e-6) / std::numbers::pi, 1e-12));
    CHECK_THAT(student_t_quantile(0.975, 1e9), WithinAbs(normal_quantile(0.975), 2.5e-7));  // (z^3 + z) / 4e7
    CHECK(student_t_quantile(0.025, 7.0) == -student_t_quantile(0.975, 7.0));
}

TEST_CASE("Statistics: sign-flip p is exact for few values, sampled for many", "[dsp][statistics]") {
    CHECK(sign_flip_p(std::vector<double>{1, 2, 3}) == 2.0 / 8.0);
    CHECK(sign_flip_p(std::vector<double>{1, 2, 3}, Tail::upper) == 1.0 / 8.0);
    CHECK(sign_flip_p(std::vector<double>{1, 2, 3}, Tail::lower) == 1.0);
    CHECK(sign_flip_p(std::vector<double>{0.1, -0.1}) == 1.0);
    // 24 values of equal size: the sum is binomial, so the share is known: P(at least 17 of 24 positive).
    std::vector<double> d(24, 1.0);
    std::fill_n(d.begin(), 7, -1.0);
    double tail = 0.0;
    for (int k = 17; k <= 24; ++k)
        tail += std::exp(std::lgamma(25.0) - std::lgamma(k + 1.0) - std::lgamma(25.0 - k) - 24.0 * std::numbers::ln2);
    const double sd = std::sqrt(tail * (1.0 - tail) / 100000.0);
    CHECK_THAT(sign_flip_p(d, Tail::upper, 5), WithinAbs(tail, 4.0 * sd));
    CHECK(sign_flip_p(d, Tail::upper, 5) == sign_flip_p(d, Tail::upper, 5));
}

TEST_CASE("Statistics: Mann-Whitney counts every split of the mid-ranks", "[dsp][statistics]") {
    std::mt19937 random(3);
    for (int round = 0; round < 20; ++round) {
        std::uniform_int_distribution<int> draw(0, 6);  // few values: many ties
        std::vector<double> pool(9);
        for (auto& v : pool) v = draw(random);
        const auto u_of = [&](unsigned chosen) {
            double u = 0.0;
            for (unsigned i = 0; i < 9; ++i)
                for (unsigned j = 0; j < 9; ++j)
                    if ((chosen >> i & 1u) && !(chosen >> j & 1u))
                        u += pool[i] > pool[j] ? 1.0 : pool[i] == pool[j] ? 0.5 : 0.0;
            return u;
        };
        const double observed = u_of(0b1111u);  // the first four are the first sample
        int all = 0;
        int upper = 0;
        int both = 0;
        for (unsigned chosen = 0; chosen < 512; ++chosen) {
            if (std::popcount(chosen) != 4) continue;
            ++all;
            upper += u_of(chosen) >= observed;
            both += std::abs(u_of(chosen) - 10.0) >= std::abs(observed - 10.0);
        }
        const auto first = std::span(pool).first(4);
        const auto second = std::span(pool).subspan(4);
        CHECK(mann_whitney(first, second).u == observed);
        CHECK_THAT(mann_whitney(first, second, Tail::upper).p, WithinRel(double(upper) / all, 1e-14));
        CHECK_THAT(mann_whitney(first, second, Tail::both).p, WithinRel(double(both) / all, 1e-14));
    }
}

TEST_CASE("Statistics: Holm steps down and never reorders", "[dsp][statistics]") {
    const auto q = holm(std::vector<double>{0.01, 0.04, 0.03, 0.005});
    CHECK_THAT(q[3], WithinAbs(0.02, 1e-15));
    CHECK_THAT(q[0], WithinAbs(0.03, 1e-15));
    CHECK_THAT(q[2], WithinAbs(0.06, 1e-15));
    CHECK_THAT(q[1], WithinAbs(0.06, 1e-15));
    CHECK(holm(std::vector<double>{0.9, 0.8})[0] == 1.0);
    CHECK(holm({}).empty());
}

TEST_CASE("Statistics: refuses what has no answer", "[dsp][statistics]") {
    const std::vector<double> none;
    const std::vector<double> one{1.0};
    const std::vector<double> bad{1.0, std::numeric_limits<double>::quiet_NaN()};
    CHECK_THROWS_AS(mean(none), std::invalid_argument);
    CHECK_THROWS_AS(sample_sd(one), std::invalid_argument);
    CHECK_THROWS_AS(lag1_autocorrelation(std::vector<double>{2.0, 2.0}), std::invalid_argument);
    CHECK_THROWS_AS(median(bad), std::invalid_argument);
    CHECK_THROWS_AS(quantile(one, 1.1), std::invalid_argument);
    CHECK_THROWS_AS(student_t_quantile(0.9, 0.5), std::invalid_argument);
    CHECK_THROWS_AS(mann_whitney(none, one), std::invalid_argument);
    CHECK_THROWS_AS(wald_bounds(0.5, 0.5), std::invalid_argument);
    CHECK(std::isnan(mean(bad)));
}

TEST_CASE("Wilson: the interval of the 1927 score", "[dsp][statistics]") {
    // By hand: n 20, 0 hits: upper end z^2 / (n + z^2).
    CHECK_THAT(wilson_interval(0, 20).high, WithinAbs(3.841458820694124 / 23.841458820694124, 1e-12));
    CHECK(wilson_interval(0, 20).low == 0.0);
    CHECK(wilson_interval(20, 20).high == 1.0);
    CHECK_THROWS_AS(wilson_interval(3, 2), std::invalid_argument);
    CHECK_THROWS_AS(wilson_interval(0, 0), std::invalid_argument);
}
