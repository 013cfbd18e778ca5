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
constexpr double kMayBeWet = 0.08;

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

/// What the targets together say of the idle's answer, which all of them share: each as far as it may be wet, and as
/// far as evaluate_spray would believe it.
class SharedAnswer {
   public:
    SharedAnswer(std::span<const double> prior, std::span<const SpotOdds> odds)
        : prior_(prior.begin(), prior.end()), log_weight_(prior.size(), 0.0) {
        for (const auto& o : odds) {
            std::vector<double> says(prior_.size(), 0.0);
            if (!o.answers.empty())
                for (std::size_t a = 0; a < says.size(); ++a)
                    says[a] = kBelief * log_sum_of(std::log1p(-kMayBeWet), std::log(kMayBeWet) + o.answers[a]);
            for (std::size_t a = 0; a < says.size(); ++a) log_weight_[a] += says[a];
            says_.push_back(std::move(says));
        }
    }
    [[nodiscard]] std::vector<double> weights() const { return weights_of(log_weight_); }
    /// For a target itself: by all the others.
    [[nodiscard]] std::vector<std::vector<double>> by_the_others() const {
        std::vector<std::vector<double>> out;
        for (const auto& says : says_) {
            auto rest = log_weight_;
            for (std::size_t a = 0; a < rest.size(); ++a) rest[a] -= says[a];
            out.push_back(weights_of(rest));
        }
        return out;
    }

   private:
    [[nodiscard]] static double log_sum_of(double x, double y) {
        return std::max(x, y) + std::log1p(std::exp(-std::fabs(x - y)));
    }
    [[nodiscard]] std::vector<double> weights_of(std::span<const double> log_weight) const {
        const double top = *std::max_element(log_weight.begin(), log_weight.end());
        std::vector<double> weights(prior_.size());
        double sum = 0.0;
        for (std::size_t a = 0; a < weights.size(); ++a) sum += weights[a] = prior_[a] * std::exp(log_weight[a] - top);
        for (std::size_t a = 0; a < weights.size(); ++a)
            weights[a] = (1.0 - kKeptPrior) * weights[a] / sum + kKeptPrior * prior_[a];
        return weights;
    }

    std::vector<double> prior_;
    std::vector<double> log_weight_;
    std::vector<std::vector<double>> says_;
};

}  // namespace

QuickLook quick_look(const SpeedTrace& trace, std::span<const BurstGroup> targets, bool regulated) {
    const auto first = find_disturbances(trace, kNoiseOrder);
    const auto shapes = response_bank(regulated);
    const HandModel hands;
    WhitenedTrace residual(first.cleaned.rpm, first.cleaned.seen, first.noise);
    QuickLook look;
    std::vector<std::size_t> wet;
    std::vector<std::vector<double>> by_the_others;
    {
        AnswerBank bank(residual, trace.step_s, shapes, hands);
        look.grid_rpm = bank.grid().rpm;
        look.targets = bank.odds(targets, bank.prior());
        const SharedAnswer shared(bank.prior(), look.targets);
        by_the_others = shared.by_the_others();
        for (std::size_t t = 0; t < targets.size(); ++t)
            if (!targets[t].cells.empty() && look.targets[t].log_odds >= kPlainlyWet) wet.push_back(t);
        if (wet.empty()) {
            look.targets = bank.odds(targets, by_the_others);
        } else {
            const auto weights = shared.weights();
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
                look.targets[wet[k]] =
                    own.odds(targets.subspan(wet[k], 1), std::span(by_the_others).subspan(wet[k], 1)).front();
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
        auto odds = bank.odds(dry, by_the_others);
        for (std::size_t t = 0; t < targets.size(); ++t)
            if (!dry[t].cells.empty()) look.targets[t] = std::move(odds[t]);
    }
    for (std::size_t t = 0; t < targets.size(); ++t)
        if (targets[t].cells.empty()) look.targets[t] = {};
    return look;
}

}  // namespace idlehark::plan
