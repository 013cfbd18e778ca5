#include "dsp/plan/targets.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

namespace idlehark::plan {

namespace {

constexpr std::size_t kNearest = 5;
// What a spot gets in a pass: hands are quicker over more spots. Common practice, no source.
constexpr double kShareOfTwo = 0.85;
constexpr double kShareOfMore = 0.6;
constexpr double kFullReach_mm = 60.0;
constexpr double kFall_mm = 30.0;
constexpr double kNear = 0.05;
constexpr double kUsualPass_s = 2.0;

std::vector<std::size_t> neighbours(std::span<const PlannedSpot> spots, const std::vector<bool>& from, std::size_t of,
                                    double reach_mm) {
    std::vector<std::pair<double, std::size_t>> near;
    for (std::size_t i = 0; i < spots.size(); ++i)
        if (i != of && from[i])
            if (const double d = distance_mm(spots[of], spots[i]); d <= reach_mm) near.emplace_back(d, i);
    std::sort(near.begin(), near.end());
    std::vector<std::size_t> out;
    out.reserve(near.size());
    for (const auto& [d, i] : near) out.push_back(i);
    return out;
}

}  // namespace

double distance_mm(const PlannedSpot& a, const PlannedSpot& b) {
    if (!a.place || !b.place) return std::numeric_limits<double>::infinity();
    return std::hypot(a.place->x_mm - b.place->x_mm, a.place->y_mm - b.place->y_mm);
}

std::vector<Target> possible_passes(std::span<const PlannedSpot> spots, const std::vector<bool>& from,
                                    const PlanConfig& config) {
    std::vector<Target> all;
    if (!config.passes) return all;
    for (std::size_t s = 0; s < spots.size(); ++s) {
        if (!from[s]) continue;
        auto near = neighbours(spots, from, s, config.pass_reach_mm);
        near.resize(std::min(near.size(), kNearest));
        // Grow sets from this spot, nearest first.
        std::vector<Target> sets{{s}};
        for (std::size_t k = 0; k < sets.size(); ++k) {
            if (sets[k].size() >= config.most_in_pass) continue;
            for (const std::size_t n : near) {
                if (n <= sets[k].back() && sets[k].size() > 1) continue;
                if (!std::all_of(sets[k].begin(), sets[k].end(), [&](std::size_t m) {
                        return m != n && distance_mm(spots[m], spots[n]) <= config.pass_reach_mm;
                    }))
                    continue;
                auto grown = sets[k];
                grown.push_back(n);
                sets.push_back(std::move(grown));
            }
        }
        for (auto& set : sets)
            if (set.size() > 1) {
                std::sort(set.begin(), set.end());
                all.push_back(std::move(set));
            }
    }
    std::sort(all.begin(), all.end());
    all.erase(std::unique(all.begin(), all.end()), all.end());
    return all;
}

std::vector<Target> cover(std::span<const PlannedSpot> spots, const std::vector<bool>& from, const PlanConfig& config) {
    std::vector<Target> targets;
    auto left = from;
    for (;;) {
        // The spot with the fewest neighbours left, which would otherwise end up alone.
        std::size_t lonely = spots.size(), fewest = spots.size() + 1;
        std::vector<std::size_t> its;
        for (std::size_t s = 0; s < spots.size(); ++s) {
            if (!left[s]) continue;
            auto near = config.passes ? neighbours(spots, left, s, config.pass_reach_mm) : std::vector<std::size_t>{};
            if (near.size() < fewest) {
                fewest = near.size();
                lonely = s;
                its = std::move(near);
            }
        }
        if (lonely == spots.size()) break;
        Target target{lonely};
        for (const std::size_t n : its)
            if (target.size() < config.most_in_pass && std::all_of(target.begin(), target.end(), [&](std::size_t m) {
                    return distance_mm(spots[m], spots[n]) <= config.pass_reach_mm;
                }))
                target.push_back(n);
        for (const std::size_t m : target) left[m] = false;
        std::sort(target.begin(), target.end());
        targets.push_back(std::move(target));
    }
    std::mt19937_64 random(config.seed);
    for (std::size_t i = targets.size(); i > 1; --i) std::swap(targets[i - 1], targets[random() % i]);
    return targets;
}

Look look_at(std::span<const PlannedSpot> spots, const Target& target, std::vector<double> log_curve) {
    Look look;
    look.log_curve = std::move(log_curve);
    const double share = target.size() == 1 ? 1.0 : target.size() == 2 ? kShareOfTwo : kShareOfMore;
    for (const std::size_t s : target) look.shares.emplace_back(s, share);
    for (std::size_t n = 0; n < spots.size(); ++n) {
        double near = 0.0;
        for (const std::size_t s : target) {
            if (s == n) continue;
            const double beyond = std::max(0.0, distance_mm(spots[s], spots[n]) - kFullReach_mm) / kFall_mm;
            near += share * std::exp(-beyond * beyond);
        }
        if (near > kNear) look.drift.emplace_back(n, near);
    }
    return look;
}

std::map<Target, std::vector<SprayBurst>> by_target(std::span<const PlannedBurst> bursts) {
    std::map<Target, std::vector<SprayBurst>> targets;
    for (const auto& b : bursts) {
        Target target;
        SprayBurst out{.time_s = b.time_s, .spot = 0, .found_onset_s = {}, .found_duration_s = {}};
        if (!b.sham) {
            target = b.spots;
            std::sort(target.begin(), target.end());
            if (target.size() > 1) {
                const auto n = static_cast<double>(target.size());
                out.time_s = b.found_onset_s.value_or(b.time_s) +
                             0.5 * b.found_duration_s.value_or(kUsualPass_s) * (n - 1.0) / n;
            } else {
                out.found_onset_s = b.found_onset_s;
                out.found_duration_s = b.found_duration_s;
            }
        }
        targets[target].push_back(out);
    }
    return targets;
}

}  // namespace idlehark::plan
