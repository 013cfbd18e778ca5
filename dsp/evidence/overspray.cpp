#include "dsp/evidence/overspray.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace idlehark::evidence {

namespace {

// A third of the spray is what a neighbour gets (common practice, no source); hands and bays differ.
constexpr std::array<double, 6> kShares{0.0, 0.1, 0.2, 0.3, 0.4, 0.5};
constexpr std::array<double, 6> kSharePrior{0.10, 0.03, 0.17, 0.55, 0.14, 0.01};
// Chance that the share reaches a neighbour at all: certain near by, falling with the square of the distance beyond.
constexpr double kCertainReach_mm = 60.0;
constexpr double kReachFall_mm = 90.0;
constexpr double kUnlikely = 0.02;  // pairs with less are not neighbours
constexpr double kOwnLeak = 0.1;    // chance that a neighbour leaks as well
constexpr double kPriorScale_rpm = 12.0;

double reach(const SprayedSpot& a, const SprayedSpot& b) {
    if (!a.placed || !b.placed) return 0.0;
    const double beyond_mm = std::max(0.0, std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) - kCertainReach_mm);
    const double z = beyond_mm / kReachFall_mm;
    const double chance = std::exp(-z * z);
    return chance < kUnlikely ? 0.0 : chance;
}

double interpolate(std::span<const double> grid, std::span<const double> curve, double x) {
    const auto at = std::lower_bound(grid.begin(), grid.end(), x);
    const auto i = static_cast<std::size_t>(std::clamp<long>(at - grid.begin(), 1, static_cast<long>(grid.size()) - 1));
    return curve[i - 1] + (curve[i] - curve[i - 1]) * (x - grid[i - 1]) / (grid[i] - grid[i - 1]);
}

/// Likelihood ratio of receiver's data if it gets each share of what the source, as uncertain as it is, would show.
std::array<double, 6> share_odds(const SprayedSpot& source, const SprayedSpot& receiver, std::span<const double> grid) {
    const double top = *std::max_element(source.log_curve.begin(), source.log_curve.end());
    std::array<double, 6> odds{};
    double total = 0.0;
    for (std::size_t i = 1; i + 1 < grid.size(); ++i) {
        const double u = grid[i] / kPriorScale_rpm;
        const double mass = std::exp(source.log_curve[i] - top) * (grid[i + 1] - grid[i - 1]) / (1.0 + u * u);
        if (mass < 1e-9) continue;
        total += mass;
        for (std::size_t s = 0; s < kShares.size(); ++s)
            odds[s] += mass * std::exp(std::min(300.0, interpolate(grid, receiver.log_curve, kShares[s] * grid[i])));
    }
    for (double& o : odds) o /= total;
    return odds;
}

double own_odds(const SprayedSpot& s, std::span<const double> grid) {
    double sum = 0.0, total = 0.0;
    for (std::size_t i = 1; i + 1 < grid.size(); ++i) {
        const double u = grid[i] / kPriorScale_rpm;
        const double mass = (grid[i + 1] - grid[i - 1]) / (1.0 + u * u);
        total += mass;
        sum += mass * std::exp(std::min(300.0, s.log_curve[i]));
    }
    return sum / total;
}

}  // namespace

double neighbour_log_odds(std::span<const SprayedSpot> spots, std::size_t spot, std::span<const double> grid) {
    // What the session's other pairs say about the share.
    std::array<double, 6> weight = kSharePrior;
    for (std::size_t j = 0; j < spots.size(); ++j) {
        if (j == spot || spots[j].log_curve.empty()) continue;
        for (std::size_t i = 0; i < spots.size(); ++i) {
            if (i == j || i == spot || !spots[i].source || spots[j].source) continue;
            const double chance = reach(spots[i], spots[j]);
            if (chance == 0.0) continue;
            const auto odds = share_odds(spots[i], spots[j], grid);
            const double own = own_odds(spots[j], grid);
            double sum = 0.0;
            for (std::size_t s = 0; s < weight.size(); ++s)
                sum += weight[s] *= kOwnLeak * own + (1.0 - kOwnLeak) * (chance * odds[s] + 1.0 - chance);
            for (double& w : weight) w /= sum;
        }
    }
    double best = 0.0;
    for (std::size_t i = 0; i < spots.size(); ++i) {
        if (i == spot || !spots[i].source) continue;
        const double chance = reach(spots[i], spots[spot]);
        if (chance == 0.0) continue;
        const auto odds = share_odds(spots[i], spots[spot], grid);
        double sum = 1.0 - chance;
        for (std::size_t s = 0; s < weight.size(); ++s) sum += chance * weight[s] * odds[s];
        best = std::max(best, std::log(sum));
    }
    return best;
}

}  // namespace idlehark::evidence
