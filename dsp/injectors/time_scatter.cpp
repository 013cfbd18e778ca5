#include "dsp/injectors/time_scatter.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <stdexcept>

#include <Eigen/Dense>

namespace idlehark {

namespace {

constexpr std::size_t kFewest = 8;
constexpr double kVague = 1e8;  // variance of the start, in units of the scatter's
constexpr double kStrayScatters = 3.5;

using Vec = Eigen::Vector2d;
using Mat = Eigen::Matrix2d;

struct Pass {
    double log_likelihood = -std::numeric_limits<double>::infinity();
    double variance = 0.0;  // of the white scatter
    std::vector<Vec> mean, predicted;
    std::vector<Mat> cov, predicted_cov;
};

/// Kalman filter with slope variance `ratio` (per step) against a white scatter of 1.
Pass filter(std::span<const double> y, double ratio) {
    Mat f;
    f << 1.0, 1.0, 0.0, 1.0;
    Mat q;  // an integrated random walk of the slope, exact over one step
    q << ratio / 3.0, ratio / 2.0, ratio / 2.0, ratio;
    Pass p;
    const std::size_t n = y.size();
    p.mean.resize(n);
    p.predicted.resize(n);
    p.cov.resize(n);
    p.predicted_cov.resize(n);
    Vec m = Vec::Zero();
    Mat c = Mat::Identity() * kVague;
    double squares = 0.0;
    double logs = 0.0;
    int counted = 0;
    int seen = 0;
    for (std::size_t k = 0; k < n; ++k) {
        if (k > 0) {
            m = f * m;
            c = f * c * f.transpose() + q;
        }
        p.predicted[k] = m;
        p.predicted_cov[k] = c;
        if (std::isfinite(y[k])) {
            const double s = c(0, 0) + 1.0;
            const double e = y[k] - m(0);
            const Vec gain = c.col(0) / s;
            m += gain * e;
            c -= gain * c.row(0).eval();
            if (++seen > 2) {  // the first two only fix level and slope
                squares += e * e / s;
                logs += std::log(s);
                ++counted;
            }
        }
        p.mean[k] = m;
        p.cov[k] = c;
    }
    if (counted > 0) {
        p.variance = std::max(squares / counted, 1e-300);
        p.log_likelihood = -0.5 * (counted * std::log(p.variance) + logs);
    }
    return p;
}

std::vector<double> smooth(const Pass& p) {
    Mat f;
    f << 1.0, 1.0, 0.0, 1.0;
    std::vector<double> course(p.mean.size());
    Vec next = p.mean.back();
    course.back() = next(0);
    for (std::size_t k = p.mean.size() - 1; k-- > 0;) {
        const Mat gain = p.cov[k] * f.transpose() * p.predicted_cov[k + 1].inverse();
        next = p.mean[k] + gain * (next - p.predicted[k + 1]);
        course[k] = next(0);
    }
    return course;
}

}  // namespace

TimeScatter split_scatter(std::span<const double> values) {
    std::vector<double> y(values.begin(), values.end());
    std::vector<double> there;
    for (const double v : y)
        if (std::isfinite(v)) there.push_back(v);
    if (there.size() < kFewest) throw std::invalid_argument("split_scatter: fewer than 8 values");
    // In units of the values' own spread, so that the vague start is vague whatever the unit.
    const double unit = std::max(stats::kMadToSd * stats::median_absolute_deviation(there), 1e-12);
    const double middle = stats::median(there);
    for (auto& v : y) v = (v - middle) / unit;

    TimeScatter out;
    for (int round = 0; round < 2; ++round) {
        Pass best;
        for (double power = -7.0; power <= 2.0; power += 0.25) {
            auto pass = filter(y, std::pow(10.0, power));
            if (pass.log_likelihood > best.log_likelihood) best = std::move(pass);
        }
        const auto course = smooth(best);
        const double sd = std::sqrt(best.variance);
        out.sd = sd * unit;
        out.course.assign(course.size(), 0.0);
        for (std::size_t k = 0; k < course.size(); ++k) out.course[k] = course[k] * unit + middle;
        std::size_t kept = 0;
        for (std::size_t k = 0; k < y.size(); ++k) {
            if (std::isfinite(y[k]) && std::fabs(y[k] - course[k]) > kStrayScatters * sd) y[k] = std::nan("");
            kept += std::isfinite(y[k]) ? 1U : 0U;
        }
        if (kept < kFewest) break;
    }
    return out;
}

}  // namespace idlehark
