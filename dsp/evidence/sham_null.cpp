#include "dsp/evidence/sham_null.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

namespace idlehark::evidence {

namespace {

constexpr double kUsualRate = 1.2;
constexpr double kUsualExcesses = 8.0;  // its weight, in shams

}  // namespace

ShamNull::ShamNull(std::vector<double> log_odds, double independent) : sorted_(std::move(log_odds)) {
    if (sorted_.empty()) throw std::invalid_argument("ShamNull: no shams");
    std::sort(sorted_.begin(), sorted_.end());
    const auto n = static_cast<double>(sorted_.size());
    for (std::size_t k = 0; k < tails_.size(); ++k) {
        auto& t = tails_[k];
        const auto from = static_cast<std::size_t>((1.0 - kTailShares[k]) * (n - 1.0));
        t.from = sorted_[from];
        double excess = 0.0;
        const auto above = static_cast<double>(sorted_.size() - from);
        for (std::size_t i = from; i < sorted_.size(); ++i) excess += sorted_[i] - t.from;
        const double counted = std::min(above, kTailShares[k] * std::max(1.0, independent));
        t.rate = (counted + kUsualExcesses) / (counted * excess / above + kUsualExcesses / kUsualRate);
    }
}

double ShamNull::p_value(double log_odds) const {
    if (log_odds < tails_[0].from) {
        const auto at = std::lower_bound(sorted_.begin(), sorted_.end(), log_odds);
        const auto above = static_cast<double>(sorted_.end() - at);
        return std::min(1.0, std::max(kTailShares[0], (above + 1.0) / (static_cast<double>(sorted_.size()) + 1.0)));
    }
    double p = 0.0;
    for (std::size_t k = 0; k < tails_.size(); ++k)
        if (log_odds >= tails_[k].from)
            p = std::max(p, kTailShares[k] * std::exp(-tails_[k].rate * (log_odds - tails_[k].from)));
    return p;
}

}  // namespace idlehark::evidence
