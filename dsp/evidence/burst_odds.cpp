#include "dsp/evidence/burst_odds.hpp"

#include "dsp/evidence/disturbed_share.hpp"
#include "dsp/evidence/log_sum.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace idlehark::evidence {

namespace {

constexpr double kDense_rpm = 0.5;
constexpr double kDenseUpTo_rpm = 4.0;
constexpr double kGrowth = 1.15;
constexpr double kLargest_rpm = 350.0;
constexpr double kPriorScale_rpm = 12.0;
constexpr long kMargin_cells = 64;       // answers may begin this far outside the trace
constexpr double kLargestRatio = 1e40;   // of one burst: seven of them still fit a double
constexpr double kSafeExponent = 600.0;  // exp() of more is close to overflow

}  // namespace

ChangeGrid::ChangeGrid() {
    std::vector<double> up;
    double a = 0.0;
    while (a < kLargest_rpm) {
        a = a < kDenseUpTo_rpm ? a + kDense_rpm : a * kGrowth;
        up.push_back(a);
    }
    for (const double v : up) rpm.push_back(-v);
    std::reverse(rpm.begin(), rpm.end());
    zero = rpm.size();
    rpm.push_back(0.0);
    rpm.insert(rpm.end(), up.begin(), up.end());
    double sum = 0.0;
    for (std::size_t i = 0; i < rpm.size(); ++i) {
        const double left = i > 0 ? rpm[i] - rpm[i - 1] : 0.0;
        const double right = i + 1 < rpm.size() ? rpm[i + 1] - rpm[i] : 0.0;
        const double u = rpm[i] / kPriorScale_rpm;
        log_prior.push_back(0.5 * (left + right) / (1.0 + u * u));
        sum += log_prior.back();
    }
    for (double& p : log_prior) p = std::log(p / sum);
}

BurstOdds::BurstOdds(const WhitenedTrace& trace, const ChangeGrid& grid, const HandModel& hands, double step_s)
    : trace_(trace),
      step_(trace.probe(lasting_step(kLoadRise_s, step_s), true)),
      lasting_(trace.size() + 2 * kMargin_cells, std::numeric_limits<double>::quiet_NaN()),
      grid_(grid),
      hands_(hands),
      columns_(grid.rpm.size() + 1),
      mean_(columns_),
      row_(columns_) {
    for (const int sharp : {0, 1}) {
        const double sd_s =
            std::max(0.5 * step_s, sharp ? hands.onset_sd_s : std::hypot(hands.mark_sd_s, hands.onset_sd_s));
        const auto reach = static_cast<long>(std::ceil(2.0 * sd_s / step_s));
        double sum = 0.0;
        for (long k = -reach; k <= reach; ++k) {
            const double z = static_cast<double>(k) * step_s / sd_s;
            shifts_[sharp].push_back({k, std::exp(-0.5 * z * z)});
            sum += shifts_[sharp].back().weight;
        }
        for (auto& s : shifts_[sharp]) s.weight /= sum;
    }
}

void BurstOdds::listen_for(const WhitenedTrace::Probe& probe) {
    probe_ = &probe;
    const std::size_t slots = trace_.size() + 2 * kMargin_cells;
    have_ratios_.assign(slots, 0);
    too_large_.assign(slots, 0);
    for (auto& have : have_row_) have.assign(slots, 0);
}

std::size_t BurstOdds::slot(long cell) const noexcept {
    const auto last = static_cast<long>(have_ratios_.size()) - 1;
    return static_cast<std::size_t>(std::clamp(cell + kMargin_cells, 0L, last));
}

double BurstOdds::log_lasting(long cell) {
    double& kept = lasting_[slot(cell)];
    if (std::isnan(kept)) kept = log_dose(trace_.score(step_, cell), 0.0, hands_.disturbance_rpm);
    return kept;
}

void BurstOdds::log_ratios(long cell, std::span<double> out) {
    const auto answer = trace_.score(*probe_, cell);
    for (std::size_t i = 0; i + 1 < columns_; ++i)
        out[i] = log_dose(answer, grid_.rpm[i], hands_.uneven * grid_.rpm[i]);
    out[columns_ - 1] = log_add(std::log(kLastingShare) + log_lasting(cell),
                                std::log1p(-kLastingShare) + log_dose(answer, 0.0, hands_.disturbance_rpm));
}

void BurstOdds::compute_ratios(long cell, std::size_t at) {
    have_ratios_[at] = 1;
    ratios_.resize(have_ratios_.size() * columns_);
    log_ratios(cell, row_);
    double* ratio = ratios_.data() + at * columns_;
    for (std::size_t i = 0; i < columns_; ++i) {
        ratio[i] = std::exp(std::min(row_[i], kSafeExponent));
        if (row_[i] > kSafeExponent) too_large_[at] = 1;
    }
}

bool BurstOdds::average(long cell, bool sharp) {
    std::fill(mean_.begin(), mean_.end(), 0.0);
    bool too_large = false;
    for (const auto& shift : shifts_[sharp ? 1 : 0]) {
        const std::size_t there = slot(cell + shift.cells);
        if (!have_ratios_[there]) compute_ratios(cell + shift.cells, there);
        const double* ratio = ratios_.data() + there * columns_;
        for (std::size_t i = 0; i < columns_; ++i) mean_[i] += shift.weight * ratio[i];
        too_large = too_large || too_large_[there] != 0;
    }
    return !too_large;
}

std::span<const double> BurstOdds::ratios(long cell, bool sharp) {
    const std::size_t kind = sharp ? 1 : 0;
    const std::size_t at = slot(cell);
    const std::size_t changes = grid_.rpm.size();
    rows_[kind].resize(have_row_[kind].size() * changes);
    double* out = rows_[kind].data() + at * changes;
    if (have_row_[kind][at]) return {out, changes};
    have_row_[kind][at] = 1;
    (void)average(cell, sharp);
    const double nothing = 1.0 - hands_.disturbed + hands_.disturbed * mean_.back();
    for (std::size_t i = 0; i < changes; ++i) {
        const double hit = (1.0 - hands_.disturbed) * mean_[i] + hands_.disturbed * mean_.back();
        out[i] = std::min(kLargestRatio, ((1.0 - hands_.miss) * hit + hands_.miss * nothing) / nothing);
    }
    return {out, changes};
}

void BurstOdds::add_log_ratios(long cell, bool sharp, std::span<double> sum) {
    // In logs where the ratios are too large for exp().
    const auto& shifts = shifts_[sharp ? 1 : 0];
    const bool fits = average(cell, sharp);
    if (fits) {
        for (double& m : mean_) m = std::log(m);
    } else {
        std::fill(mean_.begin(), mean_.end(), -std::numeric_limits<double>::infinity());
        for (const auto& shift : shifts) {
            log_ratios(cell + shift.cells, row_);
            for (std::size_t i = 0; i < columns_; ++i) mean_[i] = log_add(mean_[i], row_[i] + std::log(shift.weight));
        }
    }
    const double log_calm = std::log1p(-hands_.disturbed);
    const double disturbed = std::log(hands_.disturbed) + mean_.back();
    const double nothing = log_add(log_calm, disturbed);
    for (std::size_t i = 0; i < sum.size(); ++i) {
        const double hit = log_add(log_calm + mean_[i], disturbed);
        sum[i] += log_add(std::log1p(-hands_.miss) + hit, std::log(hands_.miss) + nothing) - nothing;
    }
}

}  // namespace idlehark::evidence
