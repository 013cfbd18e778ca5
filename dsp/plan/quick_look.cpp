#include "dsp/plan/quick_look.hpp"

#include "dsp/evidence/disturbances.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::plan {

namespace {

constexpr int kNoiseOrder = 40;  // as evaluate_spray
constexpr double kBelief = 0.5;
constexpr double kKeptPrior = 0.1;

using namespace evidence;

std::size_t likeliest_answer(const SpotOdds& odds, std::span<const double> weights) {
    std::size_t best = 0;
    for (std::size_t a = 0; a < weights.size(); ++a)
        if (std::log(weights[a]) + odds.answers[a] > std::log(weights[best]) + odds.answers[best]) best = a;
    return best;
}

double likeliest_change(const SpotOdds& odds, const ChangeGrid& grid) {
    const auto top = std::max_element(odds.curve.begin(), odds.curve.end());
    return grid.rpm[static_cast<std::size_t>(top - odds.curve.begin())];
}

/// The answers that the wet targets agree on, as far as evaluate_spray would believe them.
std::vector<double> agreed(std::span<const double> prior, std::span<const SpotOdds> odds,
                           std::span<const std::size_t> wet) {
    std::vector<double> weights(prior.begin(), prior.end());
    std::vector<double> log_weight(prior.size(), 0.0);
    for (const std::size_t t : wet)
        for (std::size_t a = 0; a < prior.size(); ++a) log_weight[a] += kBelief * std::max(-1e6, odds[t].answers[a]);
    const double top = *std::max_element(log_weight.begin(), log_weight.end());
    double sum = 0.0;
    for (std::size_t a = 0; a < prior.size(); ++a) sum += weights[a] = prior[a] * std::exp(log_weight[a] - top);
    for (std::size_t a = 0; a < prior.size(); ++a)
        weights[a] = (1.0 - kKeptPrior) * weights[a] / sum + kKeptPrior * prior[a];
    return weights;
}

}  // namespace

QuickLook quick_look(const SpeedTrace& trace, std::span<const BurstGroup> targets, bool regulated) {
    const auto first = find_disturbances(trace, kNoiseOrder);
    const auto shapes = response_bank(regulated);
    const HandModel hands;
    WhitenedTrace residual(first.cleaned.rpm, first.cleaned.seen, first.noise);
    QuickLook look;
    std::vector<std::size_t> wet;
    std::vector<double> weights;
    {
        AnswerBank bank(residual, trace.step_s, shapes, hands);
        look.grid_rpm = bank.grid().rpm;
        weights = bank.prior();
        look.targets = bank.odds(targets, weights);
        for (std::size_t t = 0; t < targets.size(); ++t)
            if (!targets[t].cells.empty() && look.targets[t].log_odds >= kPlainlyWet) wet.push_back(t);
        if (!wet.empty()) {
            weights = agreed(weights, look.targets, wet);
            std::vector<WhitenedTrace> others;
            for (std::size_t k = 0; k < wet.size(); ++k)
                others.emplace_back(first.cleaned.rpm, first.cleaned.seen, first.noise);
            for (std::size_t k = 0; k < wet.size(); ++k) {
                const auto& odds = look.targets[wet[k]];
                const auto answer = likeliest_answer(odds, weights);
                const double change = likeliest_change(odds, bank.grid());
                bank.remove(residual, targets[wet[k]], answer, change);
                for (std::size_t o = 0; o < wet.size(); ++o)
                    if (o != k) bank.remove(others[o], targets[wet[k]], answer, change);
            }
            // Each wet target in the trace without the other wet ones.
            for (std::size_t k = 0; k < wet.size() && wet.size() > 1; ++k) {
                AnswerBank own(others[k], trace.step_s, shapes, hands);
                look.targets[wet[k]] = own.odds(targets.subspan(wet[k], 1), weights).front();
            }
        }
    }
    if (!wet.empty()) {
        SpeedTrace rest = first.cleaned;
        rest.rpm = residual.rpm();
        const auto again = find_disturbances(rest, kNoiseOrder);
        const WhitenedTrace dry_trace(again.cleaned.rpm, again.cleaned.seen, again.noise);
        AnswerBank bank(dry_trace, trace.step_s, shapes, hands);
        std::vector<BurstGroup> dry(targets.begin(), targets.end());
        for (const std::size_t t : wet) dry[t] = {};
        auto odds = bank.odds(dry, weights);
        for (std::size_t t = 0; t < targets.size(); ++t)
            if (!dry[t].cells.empty()) look.targets[t] = std::move(odds[t]);
    }
    for (std::size_t t = 0; t < targets.size(); ++t)
        if (targets[t].cells.empty()) look.targets[t] = {};
    return look;
}

}  // namespace idlehark::plan
