#include "dsp/evidence/coloured_noise.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <stdexcept>
#include <utility>

#include <Eigen/Dense>

namespace idlehark::evidence {

namespace {

constexpr int kReweightings = 4;
constexpr double kHuber_sd = 2.5;  // innovations beyond this count less
// White noise added to the history: keeps the filter from trusting cells more than any tracker can read them.
constexpr double kReadingFloor_rpm = 0.1;
// No engine repeats itself better than this; a looped recording does, and would make every trifle a proof.
constexpr double kInnovationFloor_rpm = 0.3;

struct Candidate {
    std::size_t order = 0;
    double rss = 0.0;
};

}  // namespace

std::vector<double> ColouredNoise::whitening() const {
    std::vector<double> c(ar.size() + 1, 1.0);
    for (std::size_t k = 0; k < ar.size(); ++k) c[k + 1] = -ar[k];
    return c;
}

double usual_idle(double lag_s) {
    double hunting = 0.0;
    constexpr int kPeriods = 14;
    for (int k = 0; k < kPeriods; ++k) {
        const double period_s = 2.5 + 6.5 * (k + 0.5) / kPeriods;
        hunting += std::cos(2.0 * std::acos(-1.0) * lag_s / period_s) / kPeriods;
    }
    return 9.0 * std::exp(-lag_s / 0.5) + 2.0 * std::exp(-lag_s / 12.0) * hunting + 2.0 * std::exp(-lag_s / 60.0) +
           (lag_s == 0.0 ? 0.25 : 0.0);
}

ColouredNoise usual_noise(int order, double step_s) {
    Eigen::MatrixXd covariance(order, order);
    Eigen::VectorXd ahead(order);
    for (int i = 0; i < order; ++i) {
        for (int j = 0; j < order; ++j) covariance(i, j) = usual_idle(std::abs(i - j) * step_s);
        ahead(i) = usual_idle((i + 1) * step_s);
    }
    const Eigen::VectorXd ar = covariance.llt().solve(ahead);
    return {{ar.data(), ar.data() + order}, 0.0, std::sqrt(usual_idle(0.0) - ar.dot(ahead))};
}

ColouredNoise learn_noise(std::span<const double> rpm, std::span<const char> seen, int max_order, double step_s) {
    const std::size_t n = rpm.size();
    const auto seen_count = static_cast<std::size_t>(std::count_if(seen.begin(), seen.end(), [](char s) { return s; }));
    if (seen_count < 20) throw std::invalid_argument("learn_noise: fewer than 20 cells seen");
    // A long order needs many cells for each of its figures.
    const std::size_t order = std::min<std::size_t>(static_cast<std::size_t>(std::max(1, max_order)), seen_count / 6);

    double level = 0.0;
    for (std::size_t i = 0; i < n; ++i) level += seen[i] ? rpm[i] : 0.0;
    level /= static_cast<double>(seen_count);

    // The ordinary idle, scaled to this one's swing over a second.
    const auto second = static_cast<std::size_t>(std::max(1L, std::lround(1.0 / step_s)));
    std::vector<double> swings;
    for (std::size_t t = second; t < n; ++t)
        if (seen[t] && seen[t - second]) swings.push_back(std::abs(rpm[t] - rpm[t - second]));
    const double lag_s = static_cast<double>(second) * step_s;
    const double swing = swings.empty() ? 0.0 : stats::kMadToSd * stats::median(swings);
    const double usual_scale = swing * swing / (2.0 * (usual_idle(0.0) - usual_idle(lag_s)));
    const double heard_s = static_cast<double>(seen_count) * step_s;
    const double usual_weight = kUsualIdle_s / step_s * std::max(0.0, 1.0 - heard_s / kLongEnough_s);
    std::vector<double> usual;
    for (std::size_t k = 0; k <= order; ++k) usual.push_back(usual_scale * usual_idle(static_cast<double>(k) * step_s));

    const auto columns = static_cast<Eigen::Index>(order + 1);
    std::vector<double> weight(n, 1.0);
    ColouredNoise best;
    for (int pass = 0; pass < kReweightings; ++pass) {
        // Normal equations over [1, history]; nested orders are leading blocks, so one factor serves them all.
        Eigen::MatrixXd gram = Eigen::MatrixXd::Zero(columns, columns);
        Eigen::VectorXd moment = Eigen::VectorXd::Zero(columns);
        Eigen::VectorXd row(columns);
        double total = 0.0, square = 0.0;
        for (std::size_t t = order; t < n; ++t) {
            if (!seen[t] || weight[t] == 0.0) continue;
            row(0) = 1.0;
            for (std::size_t k = 0; k < order; ++k) row(static_cast<Eigen::Index>(k + 1)) = rpm[t - 1 - k] - level;
            gram.selfadjointView<Eigen::Lower>().rankUpdate(row, weight[t]);
            moment += weight[t] * (rpm[t] - level) * row;
            square += weight[t] * (rpm[t] - level) * (rpm[t] - level);
            total += weight[t];
        }
        for (std::size_t i = 1; i <= order; ++i) {
            for (std::size_t j = 1; j <= i; ++j)
                gram(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j)) += usual_weight * usual[i - j];
            moment(static_cast<Eigen::Index>(i)) += usual_weight * usual[i];
        }
        square += usual_weight * usual[0];
        total += usual_weight;
        for (Eigen::Index k = 1; k < columns; ++k) gram(k, k) += total * kReadingFloor_rpm * kReadingFloor_rpm;
        gram(0, 0) += 1e-9;
        const Eigen::LLT<Eigen::MatrixXd, Eigen::Lower> llt(gram);
        const Eigen::MatrixXd l = llt.matrixL();
        const Eigen::VectorXd z = l.triangularView<Eigen::Lower>().solve(moment);
        double rss = square - z(0) * z(0);
        double best_criterion = std::numeric_limits<double>::infinity();
        Candidate chosen;
        for (std::size_t p = 1; p <= order; ++p) {
            rss -= z(static_cast<Eigen::Index>(p)) * z(static_cast<Eigen::Index>(p));
            const double figures = static_cast<double>(p) + 2.0;
            const double spare = total - figures - 1.0;
            if (spare <= 1.0) break;
            const double criterion = total * std::log(std::max(rss, 1e-12) / total) + 2.0 * figures * total / spare;
            if (criterion < best_criterion) {
                best_criterion = criterion;
                chosen = {p, std::max(rss, 1e-12)};
            }
        }
        if (chosen.order == 0) chosen = {1, std::max(rss, 1e-12)};
        const auto used = static_cast<Eigen::Index>(chosen.order + 1);
        const Eigen::VectorXd coefficients =
            l.topLeftCorner(used, used).triangularView<Eigen::Lower>().transpose().solve(Eigen::VectorXd(z.head(used)));
        best.ar.assign(coefficients.data() + 1, coefficients.data() + used);
        best.innovation_rpm =
            std::max(kInnovationFloor_rpm,
                     std::sqrt(chosen.rss / std::max(1.0, total - static_cast<double>(chosen.order) - 1.0)));
        // The constant of the regression, as a level: c = level (1 - sum ar). Near a unit root the level is anybody's
        // guess and does not matter; the mean serves.
        const double open = 1.0 - std::accumulate(best.ar.begin(), best.ar.end(), 0.0);
        best.level_rpm = level + (std::abs(open) > 1e-3 ? coefficients(0) / open : 0.0);

        for (std::size_t t = order; t < n; ++t) {
            double e = rpm[t] - best.level_rpm;
            for (std::size_t k = 0; k < best.ar.size(); ++k) e -= best.ar[k] * (rpm[t - 1 - k] - best.level_rpm);
            const double size = std::abs(e) / best.innovation_rpm;
            weight[t] = size <= kHuber_sd ? 1.0 : (kHuber_sd / size) * (kHuber_sd / size);
        }
    }
    return best;
}

WhitenedTrace::WhitenedTrace(std::vector<double> rpm, std::vector<char> seen, ColouredNoise noise)
    : rpm_(std::move(rpm)), seen_(std::move(seen)), noise_(std::move(noise)), filter_(noise_.whitening()) {
    const std::size_t p = noise_.ar.size();
    filter_autocorrelation_.resize(p + 1);
    for (std::size_t k = 0; k <= p; ++k)
        for (std::size_t i = 0; i + k <= p; ++i) filter_autocorrelation_[k] += filter_[i] * filter_[i + k];
    filter_autocorrelation_[0] *= 1.0 + 1e-9;
    for (std::size_t i = 0; i < rpm_.size(); ++i)
        if (!seen_[i]) missing_.push_back(i);
    factor_missing();
    fill_and_whiten();
}

void WhitenedTrace::factor_missing() {
    const std::size_t band = filter_.size();  // order + 1 entries a row, the diagonal last
    const std::size_t p = band - 1;
    factor_.assign(missing_.size() * band, 0.0);
    const auto at = [&](std::size_t row, std::size_t column) -> double& {
        return factor_[row * band + (p - (row - column))];
    };
    for (std::size_t i = 0; i < missing_.size(); ++i) {
        const std::size_t first = i > p ? i - p : 0;
        for (std::size_t j = first; j <= i; ++j) {
            const std::size_t gap = missing_[i] - missing_[j];
            double sum = gap <= p ? filter_autocorrelation_[gap] : 0.0;
            for (std::size_t k = std::max(first, j > p ? j - p : 0); k < j; ++k) sum -= at(i, k) * at(j, k);
            at(i, j) = i == j ? std::sqrt(std::max(sum, 1e-12)) : sum / at(j, j);
        }
    }
}

void WhitenedTrace::fill_and_whiten() {
    const std::size_t p = noise_.ar.size();
    const auto n = static_cast<long>(rpm_.size());
    if (!missing_.empty()) {
        for (const std::size_t m : missing_) rpm_[m] = noise_.level_rpm;
        std::vector<double> z(missing_.size());
        const std::size_t band = p + 1;
        for (std::size_t i = 0; i < missing_.size(); ++i) {
            double pull = 0.0;
            for (long k = -static_cast<long>(p); k <= static_cast<long>(p); ++k) {
                const long j = static_cast<long>(missing_[i]) + k;
                if (j >= 0 && j < n)
                    pull -= filter_autocorrelation_[static_cast<std::size_t>(std::abs(k))] *
                            (rpm_[static_cast<std::size_t>(j)] - noise_.level_rpm);
            }
            const std::size_t first = i > p ? i - p : 0;
            for (std::size_t k = first; k < i; ++k) pull -= factor_[i * band + (p - (i - k))] * z[k];
            z[i] = pull / factor_[i * band + p];
        }
        for (std::size_t i = missing_.size(); i-- > 0;) {
            double v = z[i];
            for (std::size_t k = i + 1; k < std::min(missing_.size(), i + p + 1); ++k)
                v -= factor_[k * band + (p - (k - i))] * z[k];
            z[i] = v / factor_[i * band + p];
        }
        for (std::size_t i = 0; i < missing_.size(); ++i) rpm_[missing_[i]] += z[i];
    }
    innovations_.assign(rpm_.size(), 0.0);
    for (std::size_t t = p; t < rpm_.size(); ++t) {
        double e = 0.0;
        for (std::size_t k = 0; k <= p; ++k) e += filter_[k] * (rpm_[t - k] - noise_.level_rpm);
        innovations_[t] = e / noise_.innovation_rpm;
    }
}

WhitenedTrace::Probe WhitenedTrace::probe(std::vector<double> shape, bool lasting) const {
    const std::size_t p = noise_.ar.size();
    Probe out;
    out.whitened.assign(shape.size() + p, 0.0);
    for (std::size_t i = 0; i < shape.size(); ++i)
        for (std::size_t k = 0; k <= p; ++k) out.whitened[i + k] += filter_[k] * shape[i] / noise_.innovation_rpm;
    if (lasting) out.whitened.resize(shape.size());
    out.twice.assign(out.whitened.size() + p, 0.0);
    for (std::size_t i = 0; i < out.whitened.size(); ++i)
        for (std::size_t k = 0; k <= p; ++k) out.twice[i + p - k] += filter_[k] * out.whitened[i];
    out.energy.assign(out.whitened.size() + 1, 0.0);
    for (std::size_t i = 0; i < out.whitened.size(); ++i)
        out.energy[i + 1] = out.energy[i] + out.whitened[i] * out.whitened[i];
    out.shape = std::move(shape);
    return out;
}

double WhitenedTrace::missing_information(const Probe& probe, long cell) const {
    const std::size_t p = noise_.ar.size();
    const std::size_t band = p + 1;
    const long early = cell - static_cast<long>(p);
    const long late = early + static_cast<long>(probe.twice.size());
    const auto begin =
        std::lower_bound(missing_.begin(), missing_.end(), static_cast<std::size_t>(std::max(0L, early)));
    double sum = 0.0;
    std::vector<double> z;
    const auto offset = static_cast<std::size_t>(begin - missing_.begin());
    // Forward substitution only: the squared length of L^-1 r. Beyond the shape r is 0 and what is left dies out.
    for (auto it = begin; it != missing_.end() && static_cast<long>(*it) < late; ++it) {
        const std::size_t i = z.size();
        double r = probe.twice[static_cast<std::size_t>(static_cast<long>(*it) - early)];
        for (std::size_t k = i > p ? i - p : 0; k < i; ++k) r -= factor_[(offset + i) * band + (p - (i - k))] * z[k];
        z.push_back(r / factor_[(offset + i) * band + p]);
        sum += z.back() * z.back();
    }
    return sum;
}

WhitenedTrace::Score WhitenedTrace::score(const Probe& probe, long cell) const {
    const auto n = static_cast<long>(innovations_.size());
    const long from = std::max(static_cast<long>(noise_.ar.size()), cell);
    const long to = std::min(n, cell + static_cast<long>(probe.whitened.size()));
    Score out;
    if (from >= to) return out;
    const double* x = probe.whitened.data() + (from - cell);
    const double* e = innovations_.data() + from;
    out.score = std::inner_product(x, x + (to - from), e, 0.0);
    out.information =
        probe.energy[static_cast<std::size_t>(to - cell)] - probe.energy[static_cast<std::size_t>(from - cell)];
    if (!missing_.empty()) out.information -= missing_information(probe, cell);
    out.information = std::max(0.0, out.information);
    return out;
}

void WhitenedTrace::subtract(const Probe& probe, long cell, double amount) {
    const auto n = static_cast<long>(rpm_.size());
    for (long i = std::max(0L, cell); i < std::min(n, cell + static_cast<long>(probe.shape.size())); ++i)
        rpm_[static_cast<std::size_t>(i)] -= amount * probe.shape[static_cast<std::size_t>(i - cell)];
    if (missing_.empty()) {
        const auto p = static_cast<long>(noise_.ar.size());
        for (long i = std::max(p, cell); i < std::min(n, cell + static_cast<long>(probe.whitened.size())); ++i)
            innovations_[static_cast<std::size_t>(i)] -= amount * probe.whitened[static_cast<std::size_t>(i - cell)];
    } else {
        fill_and_whiten();
    }
}

}  // namespace idlehark::evidence
