#include "dsp/evidence/overspray.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace idlehark::evidence {

namespace {

constexpr double kFullReach_mm = 60.0;
constexpr double kOwnLeak = 0.1;  // chance that a neighbour leaks as well
constexpr double kPriorScale_rpm = 12.0;
constexpr double kNear = 0.02;  // spots that get less than this share of the full drift are not neighbours

/// One way that spray may drift in this session.
struct Drift {
    double share;    ///< of the source's change, near by
    double fall_mm;  ///< how far beyond the full reach it falls to 1/e
    double often;    ///< share of the pairs of near spots between which any drifts
    double weight;

    [[nodiscard]] double reaching(double distance_mm) const {
        const double z = std::max(0.0, distance_mm - kFullReach_mm) / fall_mm;
        return share * std::exp(-z * z);
    }
};

// A third of the spray is what a close neighbour gets (common practice, no source); hands and bays differ.
constexpr std::array<std::array<double, 2>, 6> kShares{
    {{0.0, 0.10}, {0.1, 0.05}, {0.2, 0.20}, {0.3, 0.45}, {0.4, 0.15}, {0.45, 0.05}}};
constexpr std::array<std::array<double, 2>, 3> kFalls_mm{{{10.0, 0.4}, {40.0, 0.4}, {80.0, 0.2}}};
constexpr double kLongestFall_mm = 80.0;
// In still air every way; a fan or a slanted can takes it to few.
constexpr std::array<std::array<double, 2>, 3> kOften{{{1.0, 0.4}, {0.6, 0.3}, {0.3, 0.3}}};
constexpr double kNegligible = 1e-3;  // ways for spray to arrive with less chance are left out

std::vector<Drift> drifts() {
    std::vector<Drift> all;
    for (const auto& [share, chance] : kShares)
        for (const auto& [fall_mm, fall_chance] : kFalls_mm)
            for (const auto& [often, often_chance] : kOften)
                all.push_back({share, fall_mm, often, chance * fall_chance * often_chance});
    return all;
}

double distance_mm(const SprayedSpot& a, const SprayedSpot& b) { return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm); }

bool neighbours(const SprayedSpot& a, const SprayedSpot& b) {
    return a.placed && b.placed && Drift{1.0, kLongestFall_mm, 1.0, 1.0}.reaching(distance_mm(a, b)) > kNear;
}

/// Spray meant for `to` may reach `from`.
bool feeds(const SprayedSpot& from, const SprayedSpot& to) {
    return from.source && std::abs(from.change_rpm) > std::abs(to.change_rpm) && neighbours(from, to);
}

double interpolate(std::span<const double> grid, std::span<const double> curve, double x) {
    const auto at = std::lower_bound(grid.begin(), grid.end(), x);
    const auto i = static_cast<std::size_t>(std::clamp<long>(at - grid.begin(), 1, static_cast<long>(grid.size()) - 1));
    const double share = std::clamp((x - grid[i - 1]) / (grid[i] - grid[i - 1]), 0.0, 1.0);
    return curve[i - 1] + (curve[i] - curve[i - 1]) * share;
}

/// Likelihood of what a spot shows, against its best one, if it only receives and if it leaks as well.
struct Explained {
    double drift_only = 0.0;
    double own_too = 0.0;
};

/// What reaches a spot, one of the ways it may.
struct Arrival {
    double mean_rpm = 0.0;
    double variance = 0.0;
    double chance = 1.0;
};

std::vector<Arrival> arrivals(std::span<const SprayedSpot> spots, std::size_t spot, const Drift& drift) {
    std::vector<Arrival> ways{{}};
    for (std::size_t i = 0; i < spots.size(); ++i) {
        if (i == spot || !feeds(spots[i], spots[spot])) continue;
        const double share = drift.reaching(distance_mm(spots[i], spots[spot]));
        const auto without = ways;
        for (auto& w : ways) w.chance *= 1.0 - drift.often;
        for (const auto& w : without)
            ways.push_back({w.mean_rpm + share * spots[i].change_rpm,
                            w.variance + std::pow(share * spots[i].spread_rpm, 2), w.chance * drift.often});
        std::erase_if(ways, [](const Arrival& w) { return w.chance < kNegligible; });
    }
    return ways;
}

Explained explain(std::span<const SprayedSpot> spots, std::size_t spot, const Drift& drift,
                  std::span<const double> grid) {
    const auto& curve = spots[spot].log_curve;
    const double top = *std::max_element(curve.begin(), curve.end());
    const auto likelihood = [&](double change) { return std::exp(interpolate(grid, curve, change) - top); };
    Explained out;
    double total = 0.0;
    for (const auto& way : arrivals(spots, spot, drift)) {
        // The drift as a normal, by points one half of its spread apart.
        const int reach = way.variance > 0.0 ? 5 : 0;
        double way_total = 0.0, drift_only = 0.0, own_too = 0.0;
        for (int k = -reach; k <= reach; ++k) {
            const double z = 0.5 * k;
            const double drifted = way.mean_rpm + z * std::sqrt(way.variance);
            const double mass = std::exp(-0.5 * z * z);
            double own = 0.0, prior = 0.0;
            for (std::size_t i = 1; i + 1 < grid.size(); ++i) {
                const double u = grid[i] / kPriorScale_rpm;
                const double p = (grid[i + 1] - grid[i - 1]) / (1.0 + u * u);
                prior += p;
                own += p * likelihood(grid[i] + drifted);
            }
            way_total += mass;
            drift_only += mass * likelihood(drifted);
            own_too += mass * own / prior;
        }
        total += way.chance;
        out.drift_only += way.chance * drift_only / way_total;
        out.own_too += way.chance * own_too / way_total;
    }
    out.drift_only /= total;
    out.own_too /= total;
    return out;
}

}  // namespace

bool has_leaking_neighbour(std::span<const SprayedSpot> spots, std::size_t spot) {
    for (std::size_t i = 0; i < spots.size(); ++i)
        if (i != spot && feeds(spots[i], spots[spot])) return true;
    return false;
}

double own_leak_log_odds(std::span<const SprayedSpot> spots, std::size_t spot, std::span<const double> grid) {
    constexpr double kLeast = 1e-300;
    double own = kLeast, drift_only = kLeast;
    auto all = drifts();
    for (std::size_t j = 0; j < spots.size(); ++j) {  // what the session's other neighbours say
        if (j == spot || spots[j].log_curve.empty() || !has_leaking_neighbour(spots, j)) continue;
        double sum = kLeast;
        for (auto& d : all) {
            const auto e = explain(spots, j, d, grid);
            sum += d.weight *= kOwnLeak * e.own_too + (1.0 - kOwnLeak) * e.drift_only;
        }
        for (auto& d : all) d.weight /= sum;
    }
    for (const auto& d : all) {
        const auto e = explain(spots, spot, d, grid);
        own += d.weight * e.own_too;
        drift_only += d.weight * e.drift_only;
    }
    return std::log(own / drift_only);
}

}  // namespace idlehark::evidence
