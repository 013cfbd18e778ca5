#pragma once

#include "dsp/evidence/coloured_noise.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// What hands do. The figures are those of the trade's own experience as the requirements state them, no source.
struct HandModel {
    double miss = 0.1;              ///< share of bursts that reach nothing
    double uneven = 0.25;           ///< spread of the dose
    double mark_sd_s = 0.4;         ///< of a mark given by hand
    double onset_sd_s = 0.15;       ///< of an onset heard in the sound, and of the answer's own delay
    double disturbed = 0.01;        ///< share of bursts that something else falls upon: it lasts, or goes as answers do
    double disturbance_rpm = 20.0;  ///< its spread
};

/// The changes a spot's likelihood is computed for: 0 and both signs up to 350 rpm, dense near 0, with a prior that
/// is broad and heavy-tailed (Cauchy).
struct ChangeGrid {
    std::vector<double> rpm;        ///< ascending
    std::vector<double> log_prior;  ///< sums to 1
    std::size_t zero = 0;           ///< index of 0 rpm
    ChangeGrid();
};

/// For one response shape at a time: how much likelier a burst's stretch of trace is if its spot's change is A than if
/// it is 0, for every A of the grid, averaged over the time error, the dose, the chance of a miss and of a disturbance.
/// Rows are computed when first asked for, and kept until the next shape.
class BurstOdds {
   public:
    /// The trace must outlive this.
    BurstOdds(const WhitenedTrace& trace, const ChangeGrid& grid, const HandModel& hands, double step_s);
    /// The shape that the next questions are about; it must outlive them.
    void listen_for(const WhitenedTrace::Probe& probe);

    /// Odds over the grid for a burst whose answer begins at `cell`, none above 1e40; kept for the next time.
    /// `sharp`: the burst's time is known from the sound.
    [[nodiscard]] std::span<const double> ratios(long cell, bool sharp);
    /// The same in logs, without the limit, added to `sum`.
    void add_log_ratios(long cell, bool sharp, std::span<double> sum);
    /// Time errors allowed for, in cells, with their weights.
    struct Shift {
        long cells;
        double weight;
    };
    [[nodiscard]] const std::vector<Shift>& shifts(bool sharp) const noexcept { return shifts_[sharp ? 1 : 0]; }

   private:
    /// Log likelihood ratios with the dose integrated out, per change of the grid and, last, for a disturbance.
    void log_ratios(long cell, std::span<double> out);
    /// Log likelihood ratio of a load step that begins at `cell` and stays.
    [[nodiscard]] double log_lasting(long cell);
    void compute_ratios(long cell, std::size_t at);
    /// Fills mean_ with the ratios averaged over the time error; false if some were too large for exp().
    [[nodiscard]] bool average(long cell, bool sharp);
    [[nodiscard]] std::size_t slot(long cell) const noexcept;

    const WhitenedTrace& trace_;
    WhitenedTrace::Probe step_;
    std::vector<double> lasting_;  // of every slot, once asked for
    const WhitenedTrace::Probe* probe_ = nullptr;
    const ChangeGrid& grid_;
    HandModel hands_;
    std::vector<Shift> shifts_[2];
    std::size_t columns_;
    std::vector<double> ratios_;
    std::vector<char> have_ratios_;
    std::vector<char> too_large_;  // some ratio is beyond exp()
    std::vector<double> mean_;
    std::vector<double> row_;
    std::vector<double> rows_[2];
    std::vector<char> have_row_[2];
};

}  // namespace idlehark::evidence
