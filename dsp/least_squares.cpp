#include "dsp/least_squares.hpp"

#include <cmath>
#include <stdexcept>

namespace idlehark {

LeastSquaresFit fit_least_squares(const Eigen::MatrixXd& x, const Eigen::VectorXd& y, std::span<const double> weights) {
    const auto rows = x.rows();
    const auto columns = x.cols();
    if (y.size() != rows) throw std::invalid_argument("least squares: y and X differ in rows");
    if (!weights.empty() && static_cast<Eigen::Index>(weights.size()) != rows)
        throw std::invalid_argument("least squares: one weight a row");
    Eigen::MatrixXd a = x;
    Eigen::VectorXd b = y;
    Eigen::Index used = rows;
    for (Eigen::Index i = 0; !weights.empty() && i < rows; ++i) {
        const double w = weights[static_cast<std::size_t>(i)];
        if (!(w >= 0.0) || !std::isfinite(w)) throw std::invalid_argument("least squares: a weight must be 0 or more");
        if (w == 0.0) --used;
        a.row(i) *= std::sqrt(w);
        b(i) *= std::sqrt(w);
    }
    const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(a);
    if (used < columns || qr.rank() < columns)
        throw std::invalid_argument("least squares: the columns of X depend on each other");
    LeastSquaresFit fit;
    fit.coefficients = qr.solve(b);
    fit.degrees_of_freedom = static_cast<int>(used - columns);
    const double rss = (b - a * fit.coefficients).squaredNorm();
    if (fit.degrees_of_freedom > 0) fit.residual_sd = std::sqrt(rss / fit.degrees_of_freedom);
    // X P = Q R, so (X'X)^-1 = P (R'R)^-1 P'.
    const Eigen::MatrixXd r_inverse = qr.matrixR()
                                          .topLeftCorner(columns, columns)
                                          .triangularView<Eigen::Upper>()
                                          .solve(Eigen::MatrixXd::Identity(columns, columns));
    const auto& p = qr.colsPermutation();
    fit.covariance = fit.residual_sd * fit.residual_sd * (p * (r_inverse * r_inverse.transpose()) * p.transpose());
    return fit;
}

}  // namespace idlehark
