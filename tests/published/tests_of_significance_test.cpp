#include "dsp/statistics.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark::stats;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

TEST_CASE("Sign-flip permutation: Fisher's worked example on Darwin's maize", "[published][statistics]") {
    // R. A. Fisher, The Design of Experiments (1935), section 21: differences of 15 pairs in eighths of an inch, sum
    // 314; 863 of the 32768 sign patterns reach 314, 1726 reach it in size. Data and counts read from a secondary copy
    // of the worked example; the counts were recomputed by full enumeration.
    const std::vector<double> d{49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48};
    CHECK(sign_flip_p(d, Tail::upper) == 863.0 / 32768.0);
    CHECK(sign_flip_p(d, Tail::both) == 1726.0 / 32768.0);
    // The t of the same data, printed as 2.148.
    CHECK_THAT(mean(d) / (sample_sd(d) / std::sqrt(15.0)), WithinAbs(2.148, 5e-4));
}

TEST_CASE("Mann-Whitney: exact published examples", "[published][statistics]") {
    // R. Shier, Statistics: 2.3 The Mann-Whitney U test (2004), as worked in the manual of the SciPy library: U = 17,
    // exact two-sided p = 0.1111...
    const std::vector<double> males{19, 22, 16, 29, 24};
    const std::vector<double> females{20, 11, 17, 12};
    const auto shier = mann_whitney(males, females);
    CHECK(shier.u == 17.0);
    CHECK_THAT(shier.p, WithinRel(14.0 / 126.0, 1e-15));
    CHECK(mann_whitney(females, males).u == 3.0);
    const auto apart = mann_whitney(std::vector<double>{1, 2, 3}, std::vector<double>{4, 5, 6});
    CHECK(apart.u == 0.0);
    CHECK_THAT(apart.p, WithinRel(0.1, 1e-15));  // 2 of the 20 splits
}

TEST_CASE("Student t: closed forms and printed tables", "[published][statistics]") {
    // df 1 is Cauchy's, df 2 has t = (2p - 1) / sqrt(2 p (1 - p)): no table needed.
    CHECK_THAT(student_t_quantile(0.975, 1.0), WithinRel(std::tan(0.475 * std::numbers::pi), 1e-13));
    CHECK_THAT(student_t_quantile(0.975, 1.0), WithinAbs(12.706204736175, 5e-13));
    CHECK_THAT(student_t_quantile(0.95, 2.0), WithinAbs(2.919985580354, 5e-13));
    CHECK_THAT(student_t_quantile(0.975, 2.0), WithinAbs(4.302652729749, 5e-13));
    // Four decimals as in any printed table (df, t.95, t.975); read from a secondary copy.
    const double table[3][3] = {{4, 2.1318, 2.7764}, {9, 1.8331, 2.2622}, {20, 1.7247, 2.0860}};
    for (const auto& row : table) {
        CHECK_THAT(student_t_quantile(0.95, row[0]), WithinAbs(row[1], 5.1e-5));
        CHECK_THAT(student_t_quantile(0.975, row[0]), WithinAbs(row[2], 5.1e-5));
    }
}

TEST_CASE("Student t: the sleep data of 1908", "[published][statistics]") {
    // Student, The probable error of a mean, Biometrika 6 (1908): extra sleep of ten patients, difference of two drugs,
    // mean 1.58, sd 1.23, t = 4.0621, two-sided p = 0.002833. Data and p from memory; t computed from them.
    const std::vector<double> d{1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4};
    CHECK_THAT(mean(d), WithinAbs(1.58, 1e-14));
    CHECK_THAT(sample_sd(d), WithinAbs(1.2300, 5e-5));
    const double t = mean(d) / (sample_sd(d) / std::sqrt(10.0));
    CHECK_THAT(t, WithinAbs(4.0621, 5e-5));
    CHECK_THAT(2.0 * student_t_cdf(-t, 9.0), WithinAbs(0.002833, 5e-7));
}

TEST_CASE("Wald bounds: the worked example of a sequential plan by attributes", "[published][statistics]") {
    // NIST/SEMATECH e-Handbook, sequential sampling: p0 0.01, p1 0.10, alpha 0.05, beta 0.10 gives the lines
    // -0.939 + 0.0397 n and 1.205 + 0.0397 n (printed values from memory; the digits below are computed).
    const WaldBounds b = wald_bounds(0.05, 0.10);
    CHECK_THAT(b.reject, WithinAbs(std::log(18.0), 1e-15));
    CHECK_THAT(b.accept, WithinAbs(std::log(2.0 / 19.0), 1e-15));
    const double k = std::log(0.10 * 0.99 / (0.01 * 0.90));
    CHECK_THAT(k, WithinAbs(2.397895, 5e-7));
    CHECK_THAT(b.accept / k, WithinAbs(-0.939, 5e-4));
    CHECK_THAT(b.reject / k, WithinAbs(1.205, 5e-4));
    CHECK_THAT(std::log(0.99 / 0.90) / k, WithinAbs(0.0397, 1e-4));
}
