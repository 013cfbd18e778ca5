#include "dsp/evidence/sham_null.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

namespace idlehark::evidence {

namespace {

constexpr double kTailShare = 0.1;
constexpr double kUsualRate = 1.2;
constexpr double kUsualExcesses = 8.0;  // its weight, in shams

}  // namespace

ShamNull::ShamNull(std::vector<double> log_odds, double independent) : sorted_(std::move(log_odds)) {
    if (sorted_.empty()) throw std::invalid_argument("ShamNull: no shams");
    std::sort(sorted_.begin(), sorted_.end());
    const auto n = static_cast<double>(sorted_.size());
    const auto from = static_cast<std::size_t>((1.0 - kTailShare) * (n - 1.0));
    tail_from_ = sorted_[from];
    double excess = 0.0;
    const auto above = static_cast<double>(sorted_.size() - from);
    for (std::size_t i = from; i < sorted_.size(); ++i) excess += sorted_[i] - tail_from_;
    const double counted = std::min(above, kTailShare * std::max(1.0, independent));
    rate_ = (counted + kUsualExcesses) / (counted * excess / above + kUsualExcesses / kUsualRate);
}

double ShamNull::p_value(double log_odds) const {
    if (log_odds >= tail_from_) return kTailShare * std::exp(-rate_ * (log_odds - tail_from_));
    const auto at = std::lower_bound(sorted_.begin(), sorted_.end(), log_odds);
    const auto above = static_cast<double>(sorted_.end() - at);
    return std::min(1.0, std::max(kTailShare, (above + 1.0) / (static_cast<double>(sorted_.size()) + 1.0)));
}

}  // namespace idlehark::evidence
