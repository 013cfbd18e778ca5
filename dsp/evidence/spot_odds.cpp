#include "dsp/evidence/spot_odds.hpp"

#include "dsp/evidence/log_sum.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace idlehark::evidence {

namespace {

constexpr double kDelays_s[] = {0.2, 0.6, 1.0, 1.4, 1.8, 2.2, 2.6};
constexpr std::size_t kDelays = std::size(kDelays_s);
constexpr double kNegligible = 1e-4;  // answers with less of the largest weight are skipped
// Share of a session's agreement on the answer that is believed, and of the prior that is kept: the true answer is not
// in the bank.
constexpr double kBelief = 0.5;
constexpr double kKeptPrior = 0.1;
constexpr double kNever = -std::numeric_limits<double>::infinity();

}  // namespace

std::vector<double> agreed_answers(std::span<const double> prior, std::span<const double> log_odds) {
    const double top = *std::max_element(log_odds.begin(), log_odds.end());
    std::vector<double> weights(prior.size());
    double sum = 0.0;
    for (std::size_t a = 0; a < weights.size(); ++a)
        sum += weights[a] = prior[a] * std::exp(kBelief * (log_odds[a] - top));
    for (std::size_t a = 0; a < weights.size(); ++a)
        weights[a] = (1.0 - kKeptPrior) * weights[a] / sum + kKeptPrior * prior[a];
    return weights;
}

AnswerBank::AnswerBank(const WhitenedTrace& trace, double step_s, std::span<const WeightedShape> shapes,
                       const HandModel& hands)
    : hands_(hands), step_s_(step_s), bursts_(trace, grid_, hands, step_s) {
    shapes_.reserve(shapes.size());
    for (const auto& w : shapes) {
        shapes_.push_back(trace.probe(sampled(w.shape, step_s, kTracker_s)));
        for (std::size_t d = 0; d < kDelays; ++d) prior_.push_back(w.weight / static_cast<double>(kDelays));
    }
}

double AnswerBank::delay_s(std::size_t answer) const noexcept { return kDelays_s[answer % kDelays]; }
long AnswerBank::delay_cells(std::size_t answer) const noexcept { return std::lround(delay_s(answer) / step_s_); }

std::vector<SpotOdds> AnswerBank::odds(std::span<const BurstGroup> groups, std::span<const double> weights) {
    return odds(groups,
                std::vector<std::vector<double>>(groups.size(), std::vector<double>(weights.begin(), weights.end())));
}

std::vector<SpotOdds> AnswerBank::odds(std::span<const BurstGroup> groups,
                                       std::span<const std::vector<double>> weights) {
    const std::size_t changes = grid_.rpm.size();
    const std::size_t answers = prior_.size();
    std::vector<SpotOdds> out(groups.size());
    std::vector<double> cut;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        out[g].answers.assign(answers, kNever);
        cut.push_back(kNegligible * *std::max_element(weights[g].begin(), weights[g].end()));
    }
    // Per group, answer and change; one shape after the other, so that one table serves all.
    std::vector<double> all_parts(groups.size() * answers * changes, kNever), column(answers);
    for (std::size_t a = 0; a < answers; ++a) {
        if (a % kDelays == 0) bursts_.listen_for(shapes_[a / kDelays]);
        for (std::size_t g = 0; g < groups.size(); ++g) {
            if (weights[g][a] < cut[g]) continue;
            const auto& group = groups[g];
            const auto part = std::span(all_parts).subspan((g * answers + a) * changes, changes);
            std::fill(part.begin(), part.end(), 0.0);
            for (std::size_t k = 0; k < group.cells.size(); ++k)
                bursts_.add_log_ratios(group.cells[k] + delay_cells(a), group.sharp[k] != 0, part);
            std::vector<double> weighed(part.begin(), part.end());
            for (std::size_t i = 0; i < changes; ++i) weighed[i] += grid_.log_prior[i];
            out[g].answers[a] = log_sum(weighed);
            for (double& v : part) v += std::log(weights[g][a]);
        }
    }
    for (std::size_t g = 0; g < groups.size(); ++g) {
        const auto parts = std::span(all_parts).subspan(g * answers * changes, answers * changes);
        for (std::size_t a = 0; a < answers; ++a)
            column[a] = weights[g][a] < cut[g] ? kNever : out[g].answers[a] + std::log(weights[g][a]);
        out[g].log_odds = log_sum(column);
        for (std::size_t i = 0; i < changes; ++i) {
            for (std::size_t a = 0; a < answers; ++a) column[a] = parts[a * changes + i];
            out[g].curve.push_back(log_sum(column));
        }
    }
    return out;
}

std::vector<double> AnswerBank::log_odds(std::span<const BurstGroup> groups, std::span<const double> weights) {
    const std::size_t changes = grid_.rpm.size();
    const double cut = kNegligible * *std::max_element(weights.begin(), weights.end());
    std::vector<double> prior(changes), product(changes), out(groups.size(), 0.0);
    for (std::size_t i = 0; i < changes; ++i) prior[i] = std::exp(grid_.log_prior[i]);
    for (std::size_t a = 0; a < weights.size(); ++a) {
        if (a % kDelays == 0) bursts_.listen_for(shapes_[a / kDelays]);
        if (weights[a] < cut) continue;
        const long delay = delay_cells(a);
        for (std::size_t g = 0; g < groups.size(); ++g) {
            product = prior;
            for (std::size_t k = 0; k < groups[g].cells.size(); ++k) {
                const auto ratios = bursts_.ratios(groups[g].cells[k] + delay, groups[g].sharp[k] != 0);
                for (std::size_t i = 0; i < changes; ++i) product[i] *= ratios[i];
            }
            out[g] += weights[a] * std::accumulate(product.begin(), product.end(), 0.0);
        }
    }
    for (double& v : out) v = std::log(std::min(v, std::numeric_limits<double>::max()));
    return out;
}

void AnswerBank::remove(WhitenedTrace& from, const BurstGroup& group, std::size_t answer, double change_rpm) const {
    const auto& shape = shapes_[answer / kDelays];
    const double v = std::pow(hands_.uneven * change_rpm, 2);
    for (std::size_t k = 0; k < group.cells.size(); ++k) {
        double best = kNever, amount = 0.0;
        long best_cell = 0;
        for (const auto& shift : bursts_.shifts(group.sharp[k] != 0)) {
            const long cell = group.cells[k] + delay_cells(answer) + shift.cells;
            const auto [s, info] = from.score(shape, cell);
            if (info <= 0.0) continue;
            const double d = 1.0 + v * info;
            const double log_ratio = std::log(shift.weight) - 0.5 * std::log(d) +
                                     (change_rpm * s - 0.5 * change_rpm * change_rpm * info + 0.5 * v * s * s) / d;
            if (log_ratio <= best) continue;
            best = log_ratio;
            best_cell = cell;
            const double odds_hit = std::exp(std::min(50.0, log_ratio)) * (1.0 - hands_.miss) / hands_.miss;
            amount = (v * s + change_rpm) / d * odds_hit / (1.0 + odds_hit);
        }
        if (best > kNever) from.subtract(shape, best_cell, amount);
    }
}

}  // namespace idlehark::evidence
