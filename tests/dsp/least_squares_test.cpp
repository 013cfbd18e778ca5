#include "dsp/least_squares.hpp"

#include <cmath>
#include <random>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("fit_least_squares: covariance is that of the closed form for a straight line", "[dsp][statistics]") {
    std::mt19937 random(5);
    std::normal_distribution<double> normal;
    Eigen::MatrixXd x(50, 2);
    Eigen::VectorXd y(50);
    double mean = 0.0;
    for (int i = 0; i < 50; ++i) {
        x(i, 0) = 1.0;
        x(i, 1) = 0.3 * i;
        mean += x(i, 1) / 50.0;
        y(i) = 2.0 - 0.7 * x(i, 1) + normal(random);
    }
    const auto fit = fit_least_squares(x, y);
    double sxx = 0.0, sxy = 0.0;
    for (int i = 0; i < 50; ++i) {
        sxx += (x(i, 1) - mean) * (x(i, 1) - mean);
        sxy += (x(i, 1) - mean) * y(i);
    }
    CHECK(fit.coefficients(1) == Approx(sxy / sxx).epsilon(1e-12));
    CHECK(fit.degrees_of_freedom == 48);
    CHECK(std::sqrt(fit.covariance(1, 1)) == Approx(fit.residual_sd / std::sqrt(sxx)).epsilon(1e-12));
    CHECK(fit.covariance(0, 0) ==
          Approx(fit.residual_sd * fit.residual_sd * (1.0 / 50.0 + mean * mean / sxx)).epsilon(1e-12));
}

TEST_CASE("fit_least_squares: a weight of 2 is the row twice, of 0 no row", "[dsp][statistics]") {
    const Eigen::MatrixXd x{{1.0, 0.0}, {1.0, 1.0}, {1.0, 2.0}, {1.0, 4.0}};
    const Eigen::VectorXd y{{1.0, 2.5, 2.0, 9.0}};
    const std::vector<double> weights{1.0, 2.0, 1.0, 0.0};
    const Eigen::MatrixXd twice{{1.0, 0.0}, {1.0, 1.0}, {1.0, 1.0}, {1.0, 2.0}};
    const Eigen::VectorXd y_twice{{1.0, 2.5, 2.5, 2.0}};
    const auto weighted = fit_least_squares(x, y, weights);
    const auto repeated = fit_least_squares(twice, y_twice);
    CHECK((weighted.coefficients - repeated.coefficients).norm() < 1e-12);
    CHECK(weighted.degrees_of_freedom == 1);  // three rows with weight, two columns
}

TEST_CASE("fit_least_squares: refuses what has no answer", "[dsp][statistics]") {
    const Eigen::MatrixXd same{{1.0, 2.0}, {1.0, 2.0}, {2.0, 4.0}};
    const Eigen::VectorXd y{{1.0, 2.0, 3.0}};
    CHECK_THROWS_AS(fit_least_squares(same, y), std::invalid_argument);
    CHECK_THROWS_AS(fit_least_squares(Eigen::MatrixXd::Ones(2, 1), y), std::invalid_argument);
    const std::vector<double> negative{1.0, -1.0, 1.0};
    CHECK_THROWS_AS(fit_least_squares(Eigen::MatrixXd::Ones(3, 1), y, negative), std::invalid_argument);
}
