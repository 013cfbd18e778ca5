#pragma once

#include <span>

#include <Eigen/Dense>

namespace idlehark {

struct LeastSquaresFit {
    Eigen::VectorXd coefficients;
    Eigen::MatrixXd covariance;  ///< of the coefficients, scaled by residual_sd squared
    double residual_sd = 0.0;    ///< sqrt(weighted residual sum / degrees of freedom); 0 when there are none to spare
    int degrees_of_freedom = 0;  ///< rows with weight - columns
};

/// Linear least squares y = X b + noise by column-pivoted Householder QR (never the normal equations).
/// Input    X rows x columns; y rows; weights (empty: all 1) are inverse variances up to a common factor, 0 drops a
/// row. Accuracy the digits that double and the condition of X allow; checked against an outside solver in
/// tests/published. Errors   std::invalid_argument for sizes that disagree, negative or non-finite weights, or columns
/// that depend on
///          each other.
[[nodiscard]] LeastSquaresFit fit_least_squares(const Eigen::MatrixXd& x, const Eigen::VectorXd& y,
                                                std::span<const double> weights = {});

}  // namespace idlehark
