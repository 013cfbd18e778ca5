#include "dsp/evidence/provable.hpp"

#include "dsp/evidence/burst_odds.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::evidence {

namespace {

constexpr double kPower = 0.8;
// What the search over answers, delays and marks costs, in standard deviations of the threshold: tests/bench.
constexpr double kSearchCost_sd = 0.6;
// Share of the signal that marks 0.4 s off and an answer that is not quite the bank's leave: tests/bench.
constexpr double kTimingShare = 0.9;

}  // namespace

double provable_change(const ColouredNoise& noise, double step_s, std::span<const WeightedShape> shapes, int bursts,
                       int spots, double familywise_error) {
    // Information of one burst far from the ends, root mean over the bank.
    const WhitenedTrace none({}, {}, noise);
    double root = 0.0, total = 0.0;
    for (const auto& w : shapes) {
        if (w.shape.regulation_s > 0.0) continue;
        root += w.weight * std::sqrt(none.probe(sampled(w.shape, step_s, kTracker_s)).energy.back());
        total += w.weight;
    }
    const double per_rpm = kTimingShare * root / total;
    const double wanted = -stats::normal_quantile(0.5 * familywise_error / spots) + kSearchCost_sd;
    const HandModel hands;
    const auto power = [&](double change) {
        double sum = 0.0, chance = std::pow(hands.miss, bursts);  // binomial, from no hit up
        for (int hits = 0; hits <= bursts; ++hits) {
            const double share = static_cast<double>(hits) / std::sqrt(static_cast<double>(bursts));
            const double spread = hands.uneven * change * per_rpm * std::sqrt(static_cast<double>(hits) / bursts);
            sum += chance * stats::normal_cdf((change * per_rpm * share - wanted) / std::hypot(1.0, spread));
            chance *= static_cast<double>(bursts - hits) / (hits + 1) * (1.0 - hands.miss) / hands.miss;
        }
        return sum;
    };
    double low = 0.0, high = 1000.0;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (power(middle) < kPower ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

}  // namespace idlehark::evidence
