#include "dsp/balance/strength.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace idlehark {

namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr double kColourPrior = 0.15;        // how far one band of a healthy cylinder is off, logarithm of amplitude
constexpr double kColourPriorFreedom = 6.0;  // and what that is worth, in values
constexpr double kColourCommon = 0.06;       // off in all bands together;
constexpr double kColourShared = 0.1;        // and of what one band is off, in power, by what sounds in the same place
constexpr double kCommonFreedom = 2.0;       // what these two are worth, in values, beside how far the others lie apart
constexpr double kApartBelow = 0.9;          // the strongest of a softer half against the weakest of the other
constexpr std::size_t kFewestInRows = 6;
constexpr double kSilentShare = 0.05;  // of the middle swell: below this a logarithm says nothing more

/// Log amplitude of a cylinder against the middle of the others.
double log_ratio(const Eigen::VectorXd& swell, std::size_t i) {
    const std::vector<double> v(swell.data(), swell.data() + swell.size());
    const double other = stats::median_of_others(v, i);
    return other > 0.0 ? 0.5 * std::log(std::max(v[i] / other, kSilentShare)) : kNone;
}

/// The cylinders of a half that stands apart below the other, and none of which is weak among that half: a row of a vee
/// or flat engine that is further from the microphone sounds so. Fours stand in one row unless stated.
std::vector<char> softer_half(const std::vector<double>& strength, const Engine& engine) {
    const std::size_t n = strength.size();
    std::vector<char> out(n, 0);
    if (n % 2 != 0 || (n < kFewestInRows && engine.banks.size() != 2)) return out;
    std::vector<std::size_t> order(n);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return strength[a] < strength[b]; });
    const auto at = [&](std::size_t k) { return strength[order[k]]; };
    if (at(n / 2 - 1) >= kApartBelow * at(n / 2)) return out;
    std::vector<double> half;
    for (std::size_t k = 0; k < n / 2; ++k) half.push_back(at(k));
    for (std::size_t k = 0; k < n / 2; ++k)
        if (at(k) > kWeakBelow * stats::median_of_others(half, k)) out[order[k]] = 1;
    return out;
}

/// How far sound cylinders lie apart in all bands together, variance of the logarithm: `usual`, and what those show
/// that lie above the widest gap among the weaker half; where half of them stand apart (`soft`), each among its own.
double common_variance(const std::vector<Strength>& strengths, const std::vector<char>& soft, double usual) {
    std::array<std::vector<Strength>, 2> rows;
    const bool two_rows = std::any_of(soft.begin(), soft.end(), [](char s) { return s != 0; });
    std::vector<std::size_t> order(strengths.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return strengths[a].log < strengths[b].log; });
    std::erase_if(order, [&](std::size_t i) { return !std::isfinite(strengths[i].sd); });
    std::size_t first = 0;
    double widest = 0.0;
    for (std::size_t k = 1; !two_rows && k <= order.size() / 2; ++k)
        if (const double gap = strengths[order[k]].log - strengths[order[k - 1]].log; gap > widest)
            widest = gap, first = k;
    for (std::size_t k = first; k < order.size(); ++k) {
        const bool softer = two_rows && k < order.size() / 2;
        if (!softer || soft[order[k]] != 0) rows[softer ? 1 : 0].push_back(strengths[order[k]]);
    }
    double beyond = 0.0;
    double freedom = 0.0;
    for (const auto& row : rows) {
        if (row.size() < 2) continue;
        std::vector<double> log;
        double own = 0.0;
        for (const auto& s : row) log.push_back(s.log), own += s.sd * s.sd / static_cast<double>(row.size());
        const double f = static_cast<double>(row.size() - 1);
        beyond += f * std::max(0.0, std::pow(stats::sample_sd(log), 2) - own);
        freedom += f;
    }
    return (kCommonFreedom * usual + beyond) / (kCommonFreedom + freedom);
}

}  // namespace

Strengths strengths(const SwellFit& fit, const Engine& engine) {
    const auto n = static_cast<std::size_t>(engine.cylinders);
    struct Cell {
        double y, variance;
    };
    std::vector<std::vector<Cell>> cells(n);
    for (const auto& b : fit.bands) {
        if (!b.tells) continue;
        for (std::size_t i = 0; i < n; ++i) {
            const double y = log_ratio(b.swell, i);
            double variance = 0.0;
            for (const auto& w : b.without) variance += std::pow(log_ratio(w, i) - y, 2);
            variance *= static_cast<double>(b.without.size() - 1) / static_cast<double>(b.without.size());
            if (std::isfinite(y) && std::isfinite(variance)) cells[i].push_back({y, variance});
        }
    }
    // How far bands of one cylinder disagree beyond noise: the cylinders' own sound.
    double sum = kColourPrior * kColourPrior * kColourPriorFreedom;
    double freedom = kColourPriorFreedom;
    for (const auto& row : cells) {
        if (row.size() < 2) continue;
        std::vector<double> y;
        double noise = 0.0;
        for (const auto& c : row) y.push_back(c.y), noise += c.variance / static_cast<double>(row.size());
        const double sd = stats::sample_sd(y);
        const double f = static_cast<double>(row.size() - 1);
        sum += f * std::max(0.0, sd * sd - noise);
        freedom += f;
    }
    const double colour = sum / freedom;
    std::vector<Strength> out(n);
    for (std::size_t i = 0; i < n; ++i) {
        double weight = 0.0, mean = 0.0;
        for (const auto& c : cells[i]) weight += 1.0 / (colour + c.variance), mean += c.y / (colour + c.variance);
        if (!(weight > 0.0)) continue;
        auto& s = out[i];
        s.log = mean / weight;
        s.sd = std::sqrt(1.0 / weight);
        s.bands = cells[i].size();
        double spread = 0.0;
        for (const auto& c : cells[i]) {
            spread += std::pow(c.y - s.log, 2) / static_cast<double>(cells[i].size());
            s.largest_z = std::max(s.largest_z, std::fabs(c.y) / std::sqrt(c.variance + 1e-6));
        }
        s.spread = std::sqrt(spread);
    }
    std::vector<double> strength(n);
    for (std::size_t i = 0; i < n; ++i) strength[i] = std::exp(out[i].log);
    auto soft = softer_half(strength, engine);
    const double common = common_variance(out, soft, kColourCommon * kColourCommon + kColourShared * colour);
    for (auto& s : out) s.sd = std::sqrt(s.sd * s.sd + common);
    return {std::move(out), std::move(soft)};
}

}  // namespace idlehark
