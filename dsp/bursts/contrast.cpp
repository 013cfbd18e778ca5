#include "dsp/bursts/contrast.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {
namespace {

constexpr Slot kLeastShamLength = slots(0.4);
constexpr Slot kShamStep = slots(0.1);
constexpr std::size_t kShams = 300;  // half a minute of them
constexpr std::size_t kLearnEvery = 10;

constexpr double kTermLimit = 12.0;
constexpr double kTermFloor = -2.0;
constexpr double kLeastBandSpread_db = 0.1;
constexpr double kLeastSumSpread = 0.5;  // of the sum of terms; independent bands give 1
constexpr double kSharedFree_db = 1.0;   // what the low bands show by chance
constexpr double kDistrust = 1.5;        // beyond that: a louder sound may gain more at the top than below (clipping)

/// About the median; reorders `x`.
double robust_sd(std::vector<double>& x) {
    const auto middle = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
    std::nth_element(x.begin(), middle, x.end());
    const double centre = *middle;
    for (double& v : x) v = std::abs(v - centre);
    std::nth_element(x.begin(), middle, x.end());
    return *middle * stats::kMadToSd;
}

}  // namespace

void Contrast::listen(const Levels& levels) {
    const Box box{next_, next_ + sham_length()};
    if (box.off + kGap + side_ > levels.end()) return;
    next_ += kShamStep;
    if (!applies(levels, box)) return;
    if (shams_.size() < kShams) shams_.emplace_back();
    shams_[count_++ % kShams] = rise_db(levels, box);
    if (count_ % kLearnEvery == 0 || count_ <= kFewestShams) learn();
}

Slot Contrast::sham_length() const noexcept { return std::max(side_, kLeastShamLength); }

bool Contrast::applies(const Levels& levels, Box box) const noexcept {
    const Slot from = box.on - kGap - side_;
    const Slot to = box.off + kGap + side_;
    return 5 * (box.off - box.on) >= 4 * sham_length() - 5 && from >= 0 && to <= levels.end() &&
           !levels.any_silent(from, to);
}

double Contrast::contrast_db(const Levels& levels, std::size_t band, Box box) const noexcept {
    const double before = levels.level_db(band, box.on - kGap - side_, box.on - kGap);
    const double after = levels.level_db(band, box.off + kGap, box.off + kGap + side_);
    return levels.level_db(band, box.on, box.off) - std::max(before, after);
}

Contrast::Rise Contrast::rise_db(const Levels& levels, Box box) const noexcept {
    std::array<double, BandSlot::kLow> low;
    for (std::size_t b = 0; b < low.size(); ++b) low[b] = contrast_db(levels, b, box);
    const auto middle = low.begin() + low.size() / 2;
    std::nth_element(low.begin(), middle, low.end());
    const double shared = std::max(0.0, *middle) + kDistrust * std::max(0.0, *middle - kSharedFree_db);
    Rise rise{};
    for (std::size_t b = 0; b < upper_bands_; ++b) rise[b] = contrast_db(levels, BandSlot::kLow + b, box) - shared;
    return rise;
}

double Contrast::term_sum(const Rise& rise) const noexcept {
    double sum = 0.0;
    for (std::size_t b = 0; b < upper_bands_; ++b) sum += std::clamp(rise[b] / spread_db_[b], kTermFloor, kTermLimit);
    return sum / std::sqrt(static_cast<double>(upper_bands_));
}

Contrast::Rise Contrast::weights(const Rise& rise) const noexcept {
    Rise w{};
    for (std::size_t b = 0; b < upper_bands_; ++b)
        w[b] = std::clamp(rise[b] / spread_db_[b], 0.0, kTermLimit) / spread_db_[b];
    return w;
}

void Contrast::learn() {
    scratch_.resize(shams_.size());
    for (std::size_t b = 0; b < upper_bands_; ++b) {
        std::transform(shams_.begin(), shams_.end(), scratch_.begin(), [b](const Rise& r) { return r[b]; });
        spread_db_[b] = std::max(kLeastBandSpread_db, robust_sd(scratch_));
    }
    std::transform(shams_.begin(), shams_.end(), scratch_.begin(), [this](const Rise& r) { return term_sum(r); });
    sum_spread_ = std::max(kLeastSumSpread, robust_sd(scratch_));
}

}  // namespace idlehark
