#include "dsp/least_squares.hpp"

#include <cmath>
#include <memory>
#include <random>
#include <vector>

#include <catch2/catch.hpp>
#include <gsl/gsl_multifit.h>

using namespace idlehark;
using Catch::Matchers::WithinRel;

TEST_CASE("Least squares: NIST StRD Norris", "[published][least_squares]") {
    // NIST Statistical Reference Datasets, linear regression, Norris (36 points, calibration of ozone monitors). Data
    // from memory, proven by the certified coefficients; the residual sd and sd of the coefficients also certified
    // there (from memory).
    const double data[36][2] = {
        // y, x
        {0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5},
        {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
        {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
        {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
        {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
        {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};
    Eigen::MatrixXd x(36, 2);
    Eigen::VectorXd y(36);
    for (int i = 0; i < 36; ++i) {
        x(i, 0) = 1.0;
        x(i, 1) = data[i][1];
        y(i) = data[i][0];
    }
    const auto fit = fit_least_squares(x, y);
    CHECK_THAT(fit.coefficients(0), WithinRel(-0.262323073774029, 1e-12));
    CHECK_THAT(fit.coefficients(1), WithinRel(1.00211681802045, 1e-14));  // 5e-15: the 15 digits printed
    CHECK_THAT(fit.residual_sd, WithinRel(0.884796396144373, 1e-12));
    CHECK_THAT(std::sqrt(fit.covariance(0, 0)), WithinRel(0.232818234301152, 1e-12));
    CHECK_THAT(std::sqrt(fit.covariance(1, 1)), WithinRel(0.429796848199937e-3, 1e-12));
    CHECK(fit.degrees_of_freedom == 34);
    // Certified R squared.
    const double total = (y.array() - y.mean()).square().sum();
    CHECK_THAT(1.0 - 34.0 * fit.residual_sd * fit.residual_sd / total, WithinRel(0.999993745883712, 1e-14));
}

TEST_CASE("Least squares: the solver of the GNU Scientific Library", "[published][least_squares]") {
    std::mt19937 random(7);
    std::normal_distribution<double> gauss;
    std::uniform_real_distribution<double> uniform(0.2, 5.0);
    constexpr int kRows = 80;
    constexpr int kColumns = 6;
    Eigen::MatrixXd x(kRows, kColumns);
    Eigen::VectorXd y(kRows);
    std::vector<double> weights(kRows);
    for (int i = 0; i < kRows; ++i) {
        for (int j = 0; j < kColumns; ++j) x(i, j) = std::pow(i / double(kRows), j);  // a polynomial: ill conditioned
        y(i) = std::sin(0.1 * i) + 0.1 * gauss(random);
        weights[static_cast<std::size_t>(i)] = uniform(random);
    }
    const auto fit = fit_least_squares(x, y, weights);

    const std::unique_ptr<gsl_matrix, void (*)(gsl_matrix*)> gx(gsl_matrix_alloc(kRows, kColumns), gsl_matrix_free);
    const std::unique_ptr<gsl_matrix, void (*)(gsl_matrix*)> cov(gsl_matrix_alloc(kColumns, kColumns), gsl_matrix_free);
    const std::unique_ptr<gsl_vector, void (*)(gsl_vector*)> gy(gsl_vector_alloc(kRows), gsl_vector_free);
    const std::unique_ptr<gsl_vector, void (*)(gsl_vector*)> gw(gsl_vector_alloc(kRows), gsl_vector_free);
    const std::unique_ptr<gsl_vector, void (*)(gsl_vector*)> c(gsl_vector_alloc(kColumns), gsl_vector_free);
    for (std::size_t i = 0; i < kRows; ++i) {
        const auto row = static_cast<Eigen::Index>(i);
        for (std::size_t j = 0; j < kColumns; ++j) gsl_matrix_set(gx.get(), i, j, x(row, static_cast<Eigen::Index>(j)));
        gsl_vector_set(gy.get(), i, y(row));
        gsl_vector_set(gw.get(), i, weights[i]);
    }
    double chi_square = 0.0;
    const std::unique_ptr<gsl_multifit_linear_workspace, void (*)(gsl_multifit_linear_workspace*)> work(
        gsl_multifit_linear_alloc(kRows, kColumns), gsl_multifit_linear_free);
    REQUIRE(gsl_multifit_wlinear(gx.get(), gw.get(), gy.get(), c.get(), cov.get(), &chi_square, work.get()) == 0);

    // Condition of a degree-5 polynomial on 0..1: about 3e3, so 3e3 * 1e-16 and some.
    const double residual_square = chi_square / (kRows - kColumns);
    CHECK_THAT(fit.residual_sd, WithinRel(std::sqrt(residual_square), 1e-12));
    for (std::size_t j = 0; j < kColumns; ++j) {
        const auto k = static_cast<Eigen::Index>(j);
        CHECK_THAT(fit.coefficients(k), WithinRel(gsl_vector_get(c.get(), j), 1e-10));
        for (std::size_t m = 0; m < kColumns;
             ++m)  // GSL gives the covariance for weights that are 1/variance as they stand
            CHECK_THAT(fit.covariance(k, static_cast<Eigen::Index>(m)),
                       WithinRel(residual_square * gsl_matrix_get(cov.get(), j, m), 1e-9));
    }
}
