#include "dsp/balance/misfires.hpp"

#include "dsp/real_fft.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <span>

namespace idlehark {

namespace {

constexpr double kHalf = 0.5;
constexpr double kLargestSd = 0.45;     // above this too many healthy firings fall below half
constexpr double kLeastShare = 0.5;     // of the middle cylinder's swell: a dead cylinder's own is no yardstick
constexpr double kRidge = 3.0;          // of a feature's variance: keeps few cycles from being fitted
constexpr double kUnsure = 1.25;        // times the usual scatter
constexpr double kLeastExpected = 0.5;  // counted as many in the reference at least
constexpr double kTwoSided95 = 1.959964;

/// P(X >= k) for a binomial.
double binomial_at_least(int k, int n, double p) {
    if (k <= 0) return 1.0;
    double log_term = static_cast<double>(n) * std::log1p(-p);
    double sum = 0.0;
    for (int i = 0; i <= n; ++i) {
        if (i >= k) sum += std::exp(log_term);
        if (i < n) log_term += std::log(static_cast<double>(n - i) / (i + 1)) + std::log(p / (1.0 - p));
    }
    return std::min(sum, 1.0);
}

struct Range {
    double low, high;
};
/// Wilson's interval for a share.
Range wilson(double k, double n) {
    const double z2 = kTwoSided95 * kTwoSided95;
    const double middle = (k + 0.5 * z2) / (n + z2);
    const double half = kTwoSided95 * std::sqrt(k * (n - k) / n + 0.25 * z2) / (n + z2);
    return {middle - half, middle + half};
}

/// The waveform with every order divided by the scatter that the cycles have there, so that no band drowns the others.
std::vector<float> whitened(const CycleBins& cut, const std::vector<std::size_t>& used) {
    // Two cycles at a time, of which the middle one is kept: the ends of a transform know of each other.
    RealFft fft(2 * cut.points);
    std::vector<std::complex<float>> bins(fft.bins()), mean(fft.bins());
    std::vector<double> power(fft.bins(), 0.0);
    std::vector<float> in(2 * cut.points);
    const auto around = [&](std::size_t c) -> std::span<const float> {
        for (std::size_t i = 0; i < in.size(); ++i) {
            const std::size_t at = c * cut.points + i;
            const bool inside = at >= cut.points / 2 && at - cut.points / 2 < cut.wave.size();
            in[i] = inside ? cut.wave[at - cut.points / 2] : 0.0F;
        }
        return in;
    };
    for (const auto c : used) {
        fft.forward(around(c), bins);
        for (std::size_t k = 0; k < bins.size(); ++k) {
            mean[k] += bins[k];
            power[k] += static_cast<double>(std::norm(bins[k]));
        }
    }
    const double n = static_cast<double>(used.size());
    for (std::size_t k = 0; k < power.size(); ++k)
        power[k] = std::max(0.0, power[k] / n - static_cast<double>(std::norm(mean[k])) / (n * n));
    std::vector<float> gain(power.size());
    const double most = *std::max_element(power.begin(), power.end());
    constexpr std::size_t kAround = 4;  // orders over which the scatter is averaged
    constexpr double kLeast = 1e-3;     // of the most: what lies outside the waveform's band stays small
    for (std::size_t k = 0; k < power.size(); ++k) {
        double sum = 0.0, count = 0.0;
        for (std::size_t i = k > kAround ? k - kAround : 0; i < std::min(k + kAround + 1, power.size()); ++i)
            sum += power[i], count += 1.0;
        gain[k] = static_cast<float>(1.0 / std::sqrt(sum / count + kLeast * most));
    }
    std::vector<float> out(cut.wave.size());
    for (std::size_t c = 0; c < cut.cycles; ++c) {
        fft.forward(around(c), bins);
        for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= gain[k];
        fft.inverse(bins, in);
        std::copy_n(in.begin() + static_cast<std::ptrdiff_t>(cut.points / 2), cut.points,
                    out.begin() + static_cast<std::ptrdiff_t>(c * cut.points));
    }
    return out;
}

/// The projection of each firing's waveform on its cylinder's mean one, at the place within kReach of the usual one
/// where it fits best: combustion scatters by a degree or two. Aligned and averaged again, the mean grows sharper.
Eigen::MatrixXd matched(const CycleBins& cut, const std::vector<double>& places, double onset,
                        const std::vector<std::size_t>& used) {
    constexpr int kRounds = 3;
    constexpr double kReach_cycles = 4.0 / 720.0;
    constexpr double kUsual_cycles = 2.0 / 720.0;  // scatter that costs nothing much
    const auto x = whitened(cut, used);
    const auto points = static_cast<std::ptrdiff_t>(cut.points);
    const double per_cycle = static_cast<double>(points);
    const auto reach = std::max<std::ptrdiff_t>(1, std::lround(kReach_cycles * per_cycle));
    const auto total = static_cast<std::ptrdiff_t>(x.size());
    Eigen::MatrixXd out(static_cast<Eigen::Index>(used.size()), static_cast<Eigen::Index>(places.size()));
    for (std::size_t j = 0; j < places.size(); ++j) {
        const double next = j + 1 < places.size() ? places[j + 1] : places[0] + 1.0;
        const std::ptrdiff_t from = std::lround((places[j] + onset) * per_cycle);
        const std::ptrdiff_t length = std::lround((next + onset) * per_cycle) - from;
        std::vector<std::ptrdiff_t> shift(used.size(), 0);
        std::vector<double> mean(static_cast<std::size_t>(length));
        const auto start = [&](std::size_t r, std::ptrdiff_t by) {
            // The last cycle's last firing may reach beyond the end.
            return std::clamp<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(used[r]) * points + from + by, 0,
                                              total - length);
        };
        for (int round = 0; round < kRounds; ++round) {
            std::fill(mean.begin(), mean.end(), 0.0);
            for (std::size_t r = 0; r < used.size(); ++r)
                for (std::ptrdiff_t p = 0, at = start(r, shift[r]); p < length; ++p)
                    mean[static_cast<std::size_t>(p)] +=
                        static_cast<double>(x[static_cast<std::size_t>(at + p)]) / static_cast<double>(used.size());
            double norm = 1e-300;
            for (const double m : mean) norm += m * m;
            for (std::size_t r = 0; r < used.size(); ++r) {
                double best = -INFINITY;
                for (std::ptrdiff_t by = -reach; by <= reach; ++by) {
                    double sum = 0.0;
                    for (std::ptrdiff_t p = 0, at = start(r, by); p < length; ++p)
                        sum += mean[static_cast<std::size_t>(p)] *
                               static_cast<double>(x[static_cast<std::size_t>(at + p)]);
                    const double off = static_cast<double>(by) / (kUsual_cycles * per_cycle);
                    const double score = sum / norm - 0.02 * off * off;
                    if (score > best) {
                        best = score;
                        shift[r] = by;
                        out(static_cast<Eigen::Index>(r), static_cast<Eigen::Index>(j)) = sum / norm;
                    }
                }
            }
        }
    }
    return out;
}

/// Presence of every firing: rows cycles, a column per cylinder.
Eigen::MatrixXd presence(const CycleBins& cut, const SwellFit& fit, const std::vector<double>& places,
                         const std::vector<std::size_t>& used) {
    const auto n = static_cast<Eigen::Index>(places.size());
    const auto rows = static_cast<Eigen::Index>(used.size());
    std::vector<Eigen::MatrixXd> features;
    for (std::size_t b = 0; b < fit.bands.size(); ++b) {
        const auto& band = fit.bands[b];
        if (!band.tells) continue;
        Eigen::MatrixXd f(rows, n);
        const std::vector<double> swells(band.swell.data(), band.swell.data() + n);
        const double least = kLeastShare * stats::median(swells);
        for (Eigen::Index r = 0; r < rows; ++r) {
            const Eigen::VectorXd row = Eigen::Map<const Eigen::VectorXf>(cut.row(b, used[static_cast<std::size_t>(r)]),
                                                                          static_cast<Eigen::Index>(cut.bins))
                                            .cast<double>();
            f.row(r) = (band.functional * (row.array() - band.floor).matrix()).transpose();
        }
        for (Eigen::Index j = 0; j < n; ++j) f.col(j) /= std::max(band.swell(j), least);
        // Power is skewed; its signed root is nearer to an amplitude and to a bell.
        features.push_back(f.unaryExpr([](double v) { return std::copysign(std::sqrt(std::fabs(v)), v); }));
    }
    features.push_back(matched(cut, places, fit.onset_cycles, used));
    // Each feature to a middle of one, then the weights that a missing firing stands out by.
    const auto k = static_cast<Eigen::Index>(features.size());
    Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(k, k);
    for (auto& f : features)
        for (Eigen::Index j = 0; j < n; ++j) {
            const double middle = stats::median(std::vector<double>(f.col(j).data(), f.col(j).data() + rows));
            if (middle > 0.3) f.col(j) /= middle;
        }
    for (Eigen::Index j = 0; j < n; ++j) {
        Eigen::MatrixXd x(rows, k);
        for (Eigen::Index i = 0; i < k; ++i) {
            x.col(i) = features[static_cast<std::size_t>(i)].col(j);
            x.col(i).array() -= x.col(i).mean();
        }
        covariance += x.transpose() * x / static_cast<double>(rows * n);
    }
    covariance.diagonal().array() *= 1.02;
    const Eigen::VectorXd solved = covariance.ldlt().solve(Eigen::VectorXd::Ones(k));
    Eigen::MatrixXd out = Eigen::MatrixXd::Zero(rows, n);
    for (Eigen::Index i = 0; i < k; ++i) out += solved(i) / solved.sum() * features[static_cast<std::size_t>(i)];
    return out;
}

}  // namespace

MisfireCount count_misfires(const CycleBins& cut, const SwellFit& fit, const std::vector<double>& places) {
    std::vector<std::size_t> used;
    for (std::size_t c = 0; c < cut.cycles; ++c)
        if (cut.usable[c]) used.push_back(c);
    const auto z = presence(cut, fit, places, used);
    const std::size_t n = places.size();
    const int rows = static_cast<int>(z.rows());
    MisfireCount out;
    out.cylinders.resize(n);
    std::vector<double> spreads;
    std::vector<double> below(n), above(n);
    for (std::size_t j = 0; j < n; ++j) {
        const std::vector<double> v(z.col(static_cast<Eigen::Index>(j)).data(),
                                    z.col(static_cast<Eigen::Index>(j)).data() + rows);
        const double middle = stats::median(v);
        spreads.push_back(stats::quantile(v, 0.8413) - middle);  // the upper side: misfires lie on the lower
        below[j] = static_cast<double>(std::count_if(v.begin(), v.end(), [&](double x) { return x < kHalf; }));
        above[j] =
            static_cast<double>(std::count_if(v.begin(), v.end(), [&](double x) { return x > 2.0 * middle - kHalf; }));
    }
    out.sd = stats::median(spreads);
    out.tells = out.sd < kLargestSd;
    double mirror = 0.0;
    for (const double a : above) mirror += a / static_cast<double>(n);
    for (std::size_t j = 0; j < n; ++j) {
        double healthy = mirror;
        if (n > 2) {
            std::vector<double> others;
            for (std::size_t i = 0; i < n; ++i)
                if (i != j) others.push_back(below[i]);
            healthy = std::max(healthy, stats::median(others));
        }
        auto& c = out.cylinders[j];
        double sources = std::max(1.0, static_cast<double>(n) - 1.0);  // how many cylinders `healthy` is a mean of
        if (spreads[j] > kUnsure * out.sd &&
            above[j] > healthy) {  // a weak cylinder is heard less surely: its own mirror image is what counts
            healthy = above[j];
            sources = 1.0;
        }
        const int reference = static_cast<int>(std::lround(std::max(healthy, kLeastExpected) * sources));
        c.p = binomial_at_least(static_cast<int>(below[j]), static_cast<int>(below[j]) + reference,
                                1.0 / (1.0 + sources));
        const double seen = stats::normal_cdf((kHalf - 0.1) / std::max(out.sd, 0.05));
        const double rate = healthy / rows;
        const auto unmixed = [&](double share) { return std::clamp((share - rate) / (seen - rate), 0.0, 1.0); };
        const auto range = wilson(below[j], rows);
        c.share = unmixed(below[j] / rows);
        c.low = unmixed(range.low);
        c.high = unmixed(range.high);
    }
    return out;
}

}  // namespace idlehark
