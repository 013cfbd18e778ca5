#include "dsp/balance/swell_fit.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {

constexpr double kRise_s = 1.0e-3;
constexpr double kEnds_s[] = {1.5e-3, 3e-3, 5e-3, 8e-3, 12e-3, 18e-3};
constexpr double kLongestShare = 0.8;  // of the mean firing interval: longer ends are one with the floor
constexpr std::size_t kTenths = 10;
constexpr double kTells = 4.0;         // standard deviations of the mean swell
constexpr double kMostHaveIt = 0.3;    // of the mean swell, the middle one at least: else it is not the firings'
constexpr std::size_t kWithinBin = 4;  // points over which a swell is averaged within a bin

/// One column per firing, a unit swell that rises and dies away, and one of ones.
Eigen::MatrixXd columns(const std::vector<double>& places, double onset, double end_s, std::size_t bins,
                        double cycle_s) {
    Eigen::MatrixXd x(static_cast<Eigen::Index>(bins), static_cast<Eigen::Index>(places.size()) + 1);
    const double n = static_cast<double>(bins) * kWithinBin;
    const double wrapped = 1.0 / (1.0 - std::exp(-cycle_s / end_s));  // the cycles before
    // (1 - exp(-t / rise)) * exp(-t / end) as two powers, from point to point by one factor each.
    const double per_s[] = {1.0 / end_s, 1.0 / end_s + 1.0 / kRise_s};
    const double factor[] = {std::exp(-per_s[0] * cycle_s / n), std::exp(-per_s[1] * cycle_s / n)};
    const auto points = bins * kWithinBin;
    for (std::size_t j = 0; j < places.size(); ++j) {
        double start = places[j] + onset;
        start -= std::floor(start);
        const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil(start * n - 0.5)));
        const double since_s = ((static_cast<double>(first) + 0.5) / n - start) * cycle_s;
        double slow = wrapped / kWithinBin * std::exp(-per_s[0] * since_s);
        double fast = wrapped / kWithinBin * std::exp(-per_s[1] * since_s);
        auto column = x.col(static_cast<Eigen::Index>(j));
        column.setZero();
        for (std::size_t k = 0; k < points; ++k) {
            column(static_cast<Eigen::Index>((first + k) % points / kWithinBin)) += slow - fast;
            slow *= factor[0];
            fast *= factor[1];
        }
    }
    x.rightCols(1).setOnes();
    return x;
}

Eigen::VectorXd mean_row(const CycleBins& cut, std::size_t band, std::size_t without_from, std::size_t without_to) {
    Eigen::VectorXd mean = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(cut.bins));
    double count = 0.0;
    for (std::size_t c = 0; c < cut.cycles; ++c) {
        if (!cut.usable[c] || (c >= without_from && c < without_to)) continue;
        mean += Eigen::Map<const Eigen::VectorXf>(cut.row(band, c), static_cast<Eigen::Index>(cut.bins)).cast<double>();
        count += 1.0;
    }
    return mean / std::max(count, 1.0);
}

}  // namespace

SwellFit fit_swells(const CycleBins& cut, const Engine& engine, double cycle_hz) {
    const auto places = firing_fractions(engine);
    const auto n = static_cast<Eigen::Index>(places.size());
    const double cycle_s = 1.0 / cycle_hz;
    const double interval_s = cycle_s / static_cast<double>(n);
    const std::size_t bands = cut.power.size();

    std::vector<Eigen::VectorXd> mean(bands);
    std::vector<std::vector<Eigen::VectorXd>> without(bands);
    std::vector<double> weight(bands);  // by the noise of the mean
    std::vector<double> total(bands);
    for (std::size_t b = 0; b < bands; ++b) {
        mean[b] = mean_row(cut, b, 0, 0);
        double scatter = 0.0;
        for (std::size_t g = 0; g < kTenths; ++g) {
            without[b].push_back(mean_row(cut, b, g * cut.cycles / kTenths, (g + 1) * cut.cycles / kTenths));
            scatter += (without[b].back() - mean[b]).squaredNorm();
        }
        total[b] = (mean[b].array() - mean[b].mean()).square().sum();
        weight[b] = total[b] > 0.0 ? 1.0 / std::max(scatter, 1e-3 * total[b]) : 0.0;
    }

    // Evenly firing engines repeat within the cycle: one repeat is enough to search.
    const bool even = engine.firing_angles_deg.empty();
    const double span = even ? 1.0 / static_cast<double>(n) : 1.0;
    const auto onsets = static_cast<std::size_t>(std::lround(2.0 * span * static_cast<double>(cut.bins)));
    struct Trial {
        double end_s = 0.0, left = 0.0;
    };
    SwellFit fit;
    std::vector<double> best_end(bands, kEnds_s[0]);
    double best = -1.0;
    double whole = 0.0;
    for (std::size_t b = 0; b < bands; ++b) whole += weight[b] * total[b];
    for (std::size_t o = 0; o < onsets; ++o) {
        const double onset = 0.5 * static_cast<double>(o) / static_cast<double>(cut.bins);
        std::vector<Trial> trial(bands, {kEnds_s[0], std::numeric_limits<double>::infinity()});
        for (const double end_s : kEnds_s) {
            if (end_s > kLongestShare * interval_s && end_s > kEnds_s[0]) break;
            const auto x = columns(places, onset, end_s, cut.bins, cycle_s);
            const Eigen::LDLT<Eigen::MatrixXd> solve(x.transpose() * x);
            for (std::size_t b = 0; b < bands; ++b) {
                const Eigen::VectorXd a = solve.solve(x.transpose() * mean[b]);
                // A swell that points down is none: such a place and end are not the engine's.
                const double sum = a.head(n).sum();
                const double left = sum > 0.0 ? (mean[b] - x * a).squaredNorm() : total[b];
                if (left < trial[b].left) trial[b] = {end_s, left};
            }
        }
        double explained = 0.0;
        for (std::size_t b = 0; b < bands; ++b) explained += weight[b] * (total[b] - trial[b].left);
        if (explained > best) {
            best = explained;
            fit.onset_cycles = onset;
            for (std::size_t b = 0; b < bands; ++b) best_end[b] = trial[b].end_s;
        }
    }
    fit.over_the_end =
        std::count_if(places.begin(), places.end(), [&](double at) { return at + fit.onset_cycles < 1.0; });
    fit.explained = whole > 0.0 ? std::max(0.0, best) / whole : 0.0;

    for (std::size_t b = 0; b < bands; ++b) {
        const auto x = columns(places, fit.onset_cycles, best_end[b], cut.bins, cycle_s);
        const Eigen::LDLT<Eigen::MatrixXd> solve(x.transpose() * x);
        SwellFit::Band out;
        const Eigen::VectorXd a = solve.solve(x.transpose() * mean[b]);
        out.swell = a.head(n);
        out.floor = a(n);
        double variance = 0.0;
        for (const auto& m : without[b]) {
            out.without.emplace_back(Eigen::VectorXd(solve.solve(x.transpose() * m)).head(n));
            variance += std::pow(out.without.back().mean() - out.swell.mean(), 2);
        }
        variance *= static_cast<double>(kTenths - 1) / static_cast<double>(kTenths);
        const double middle = stats::median(std::vector<double>(out.swell.data(), out.swell.data() + n));
        out.tells = out.swell.mean() > kTells * std::sqrt(variance) && middle > kMostHaveIt * out.swell.mean();
        const Eigen::MatrixXd swells = x.leftCols(n);
        out.functional = (swells.transpose() * swells).ldlt().solve(swells.transpose());
        fit.bands.push_back(std::move(out));
    }
    return fit;
}

}  // namespace idlehark
