#include "dsp/plan/quick_look.hpp"

#include "dsp/evidence/disturbances.hpp"
#include "dsp/evidence/log_sum.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::plan {

namespace {

constexpr int kNoiseOrder = 40;     // as evaluate_spray
constexpr double kMayBeWet = 0.08;  // a spot's usual prior

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

/// What the targets together say of the idle's answer, which all of them share: each as far as it may be wet.
class SharedAnswer {
   public:
    SharedAnswer(std::span<const double> prior, std::span<const SpotOdds> odds)
        : prior_(prior.begin(), prior.end()), all_say_(prior.size(), 0.0) {
        for (const auto& o : odds) {
            std::vector<double> says;
            for (const double answer : o.answers)
                says.push_back(log_add(std::log1p(-kMayBeWet), std::log(kMayBeWet) + answer));
            for (std::size_t a = 0; a < says.size(); ++a) all_say_[a] += says[a];
            says_.push_back(std::move(says));
        }
    }
    [[nodiscard]] std::vector<double> weights() const { return agreed_answers(prior_, all_say_); }
    /// For each target: by all the others.
    [[nodiscard]] std::vector<std::vector<double>> by_the_others() const {
        std::vector<std::vector<double>> out;
        for (const auto& says : says_) {
            auto rest = all_say_;
            for (std::size_t a = 0; a < says.size(); ++a) rest[a] -= says[a];
            out.push_back(agreed_answers(prior_, rest));
        }
        return out;
    }

   private:
    std::vector<double> prior_;
    std::vector<double> all_say_;  ///< log odds of each answer
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
