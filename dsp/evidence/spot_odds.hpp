#pragma once

#include "dsp/evidence/burst_odds.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// The bursts of one spot, real or sham.
struct BurstGroup {
    std::vector<long> cells;  ///< start of each burst
    std::vector<char> sharp;  ///< its time is known from the sound
};

/// Odds of one spot being wet against dry.
struct SpotOdds {
    double log_odds = 0.0;        ///< averaged over change, answer and delay
    std::vector<double> curve;    ///< log odds of each change of the grid, averaged over answers and delays
    std::vector<double> answers;  ///< log odds of each (shape, delay), averaged over changes
};

/// Weights of the answers: their prior, and what the spots together say, believed in part.
/// Input    `log_odds`: of each answer, summed over the spots.
[[nodiscard]] std::vector<double> agreed_answers(std::span<const double> prior, std::span<const double> log_odds);

/// A bank of answers (shape and delay) laid over one trace.
class AnswerBank {
   public:
    /// `trace` must outlive this.
    AnswerBank(const WhitenedTrace& trace, double step_s, std::span<const WeightedShape> shapes,
               const HandModel& hands);

    /// (shape, delay) combinations and their prior weights, the delays of one shape side by side.
    [[nodiscard]] const std::vector<double>& prior() const noexcept { return prior_; }
    [[nodiscard]] double delay_s(std::size_t answer) const noexcept;
    [[nodiscard]] const ChangeGrid& grid() const noexcept { return grid_; }

    /// Odds of every group under the given weights of the answers.
    [[nodiscard]] std::vector<SpotOdds> odds(std::span<const BurstGroup> groups, std::span<const double> weights);
    /// The same with weights of its own for each group.
    [[nodiscard]] std::vector<SpotOdds> odds(std::span<const BurstGroup> groups,
                                             std::span<const std::vector<double>> weights);
    /// Only their log odds, many times faster: for shams. Odds of a burst above 1e40 count as 1e40.
    [[nodiscard]] std::vector<double> log_odds(std::span<const BurstGroup> groups, std::span<const double> weights);

    /// Takes out of a trace what a spot of this change put in, burst by burst: each at its best time within the marks'
    /// error, its size shrunk towards the change and towards nothing as far as it may have missed.
    void remove(WhitenedTrace& from, const BurstGroup& group, std::size_t answer, double change_rpm) const;

   private:
    [[nodiscard]] long delay_cells(std::size_t answer) const noexcept;

    ChangeGrid grid_;
    HandModel hands_;
    double step_s_;
    std::vector<WhitenedTrace::Probe> shapes_;
    BurstOdds bursts_;
    std::vector<double> prior_;
};

}  // namespace idlehark::evidence
