#include "dsp/compare/change.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {

bool known(const FigureValue& m) { return std::isfinite(m.value) && std::isfinite(m.sd); }

void check(const FigureValue& m, FigureScale scale) {
    if (!known(m)) return;
    if (m.sd < 0.0 || !(m.visit_sd >= 0.0))
        throw std::invalid_argument("a spread of " + std::to_string(std::min(m.sd, m.visit_sd)) + " is negative");
    if (scale == FigureScale::ratio && !(m.value > 0.0))
        throw std::invalid_argument("a value of " + std::to_string(m.value) + " has no logarithm");
}

double outside(double value, double low, double high) { return std::max({0.0, low - value, value - high}); }

/// `sd`: of the difference.
ChangeVerdict direction(const FigurePair& p, double sd) {
    const double before = p.before.value, after = p.after.value;
    switch (p.wish) {
        case Wish::less:
            break;
        case Wish::nearer_zero:
            return std::abs(after) < std::abs(before) ? ChangeVerdict::better : ChangeVerdict::worse;
        case Wish::in_range: {
            const double from = outside(before, p.range_low, p.range_high);
            const double to = outside(after, p.range_low, p.range_high);
            if (std::abs(to - from) <= stats::kTwoSided95 * sd) return ChangeVerdict::changed;
            return to < from ? ChangeVerdict::better : ChangeVerdict::worse;
        }
    }
    return after < before ? ChangeVerdict::better : ChangeVerdict::worse;
}

}  // namespace

std::vector<Change> compare_figures(std::span<const FigurePair> pairs, double familywise_error) {
    std::vector<Change> changes(pairs.size());
    std::vector<double> p, spreads;
    std::vector<std::size_t> which;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto& before = pairs[i].before;
        const auto& after = pairs[i].after;
        const auto scale = pairs[i].scale;
        check(before, scale);
        check(after, scale);
        if (!known(before) || !known(after)) continue;
        const bool ratio = scale == FigureScale::ratio;
        const double step = ratio ? std::log(after.value / before.value) : after.value - before.value;
        const double sd = std::sqrt(before.sd * before.sd + after.sd * after.sd + before.visit_sd * before.visit_sd +
                                    after.visit_sd * after.visit_sd);
        const auto in_unit = [&](double s) { return ratio ? before.value * std::expm1(s) : s; };
        auto& c = changes[i];
        c.difference = in_unit(step);
        c.low = in_unit(step - stats::kTwoSided95 * sd);
        c.high = in_unit(step + stats::kTwoSided95 * sd);
        c.verdict = ChangeVerdict::no_proven;
        if (!pairs[i].asked) continue;
        p.push_back(sd > 0.0 ? 2.0 * stats::normal_cdf(-std::abs(step) / sd) : (step == 0.0 ? 1.0 : 0.0));
        spreads.push_back(sd);
        which.push_back(i);
    }
    const auto corrected = stats::holm(p);
    for (std::size_t k = 0; k < which.size(); ++k) {
        auto& c = changes[which[k]];
        const auto& pair = pairs[which[k]];
        c.p_value = std::min(1.0, corrected[k] + pair.p_otherwise);
        if (c.p_value <= familywise_error) c.verdict = direction(pair, spreads[k]);
    }
    return changes;
}

}  // namespace idlehark
