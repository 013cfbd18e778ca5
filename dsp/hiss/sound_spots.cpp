#include "dsp/hiss/sound_spots.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>

namespace idlehark {

namespace {

constexpr double kLoudShare = 0.25;  // of the others, before anything is heard (no source)
constexpr double kLoudest_db = 20.0;
constexpr double kMiddleStep_db = 0.5;
constexpr double kBeyond_db = 10.0;     // of the outermost figures
constexpr double kSpreadStep = 1.25;    // a ratio
constexpr int kSpreads = 7;             // to either side of the one foreseen: a fifth to five times
constexpr double kLeastWeight = 1e-12;  // of the greatest

/// How likely a figure is that far over the middle.
double likelihood(double over_db, double sd_db) {
    const double z = over_db / sd_db;
    const double sound = std::exp(-0.5 * z * z) / (sd_db * std::sqrt(2.0 * std::numbers::pi));
    const double loud = (stats::normal_cdf(z) - stats::normal_cdf(z - kLoudest_db / sd_db)) / kLoudest_db;
    return (1.0 - kLoudShare) * sound + kLoudShare * loud;
}

}  // namespace

SoundSpots::SoundSpots(std::span<const SpotFigure> others, double spread_db) {
    if (others.empty()) throw std::invalid_argument("others: no spot");
    if (!(spread_db > 0.0)) throw std::invalid_argument("spread_db: must be over 0");
    for (const auto& o : others)
        if (!std::isfinite(o.value_db) || !(o.variance >= 0.0)) throw std::invalid_argument("others: not finite");
    const auto [quietest, loudest] = std::minmax_element(
        others.begin(), others.end(), [](const auto& a, const auto& b) { return a.value_db < b.value_db; });
    double greatest = -std::numeric_limits<double>::infinity();
    for (int k = -kSpreads; k <= kSpreads; ++k) {
        const double ratio = std::pow(kSpreadStep, k), spread = spread_db * ratio;
        // The density of ln(spread) of a scaled inverse chi-square: the grid's steps are even in it.
        const double before = -kWorth * std::log(ratio) - 0.5 * kWorth / (ratio * ratio);
        for (double m = quietest->value_db - kBeyond_db; m <= loudest->value_db + kBeyond_db; m += kMiddleStep_db) {
            double log_weight = before;
            for (const auto& o : others)
                log_weight +=
                    std::log(std::max(likelihood(o.value_db - m, std::sqrt(spread * spread + o.variance)), 1e-300));
            guesses_.push_back({m, spread * spread, log_weight});
            greatest = std::max(greatest, log_weight);
        }
    }
    for (auto& g : guesses_) g.weight = std::exp(g.weight - greatest);
    std::erase_if(guesses_, [](const Guess& g) { return g.weight < kLeastWeight; });
    double sum = 0.0;
    for (const auto& g : guesses_) sum += g.weight;
    for (auto& g : guesses_) {
        g.weight /= sum;
        middle_db_ += g.weight * g.middle_db;
    }
}

double SoundSpots::as_loud(double value_db, double variance) const noexcept {
    double p = 0.0;
    for (const auto& g : guesses_)
        p += g.weight * stats::normal_cdf((g.middle_db - value_db) / std::sqrt(g.variance + variance));
    return p;
}

double SoundSpots::quantile_db(double share, double variance) const noexcept {
    double low = middle_db_ - 200.0, high = middle_db_ + 200.0;
    while (high - low > 0.01) {
        const double half = 0.5 * (low + high);
        (1.0 - as_loud(half, variance) < share ? low : high) = half;
    }
    return 0.5 * (low + high);
}

}  // namespace idlehark
