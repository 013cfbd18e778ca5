#include "dsp/balance/band_split.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {
constexpr int kDecimatorHalf = 12;            // kept samples each side
constexpr double kHighestShare = 0.42;        // of the kept rate
constexpr double kBlock_s = 1.0;              // transform; an eighth at each end is the filters' own
constexpr std::size_t kStepsPerBlock = 2000;  // power steps: about half a millisecond
constexpr BandSplit::Edges kLow{60.0, 4400.0};
constexpr float kLoudest = 16.F;  // beyond any sane float recording: one wild sample must not drown a block
double checked(double rate_hz) {
    if (!(rate_hz >= 8000.0 && rate_hz <= 192000.0))
        throw std::invalid_argument("sample_rate_hz: " + std::to_string(rate_hz) + " is not in 8000..192000");
    return rate_hz;
}
std::size_t multiple_of_8(std::size_t wanted) {
    std::size_t n = RealFft::good_size((wanted + 7) / 8 * 8);
    while (n % 8 != 0) n = RealFft::good_size(n + 1);
    return n;
}
}  // namespace

std::vector<BandSplit::Edges> BandSplit::low_bands() {
    return {{150.0, 260.0}, {260.0, 450.0}, {450.0, 800.0}, {800.0, 1400.0}, {1400.0, 2400.0}};
}

BandSplit::BandSplit(double sample_rate_hz, double kept_hz, const std::vector<Edges>& bands)
    : keep_every_(static_cast<std::size_t>(std::max(1.0, std::floor(checked(sample_rate_hz) / kept_hz)))),
      rate_hz_(sample_rate_hz / static_cast<double>(keep_every_)),
      length_(multiple_of_8(static_cast<std::size_t>(kBlock_s * rate_hz_))),
      hop_(length_ / 4 * 3),
      steps_(kStepsPerBlock),
      spacing_s_(static_cast<double>(length_) / rate_hz_ / static_cast<double>(steps_)),
      fft_(length_),
      low_fft_(BandSplit::kWavePerStep * steps_),
      low_{0, {}, 1, RealFft(2)},
      in_(length_, 0.0F),
      filled_(length_ / 8),
      bins_(length_ / 2 + 1) {
    if (keep_every_ > 1) decimator_.emplace(static_cast<int>(keep_every_), kDecimatorHalf);
    const double bin_hz = rate_hz_ / static_cast<double>(length_);
    const auto gains = [&](Edges e) {
        const double edge = std::min(60.0, 0.25 * (e.high_hz - e.low_hz));
        const auto first = static_cast<std::size_t>(std::ceil((e.low_hz - 0.5 * edge) / bin_hz));
        const auto last = static_cast<std::size_t>((e.high_hz + 0.5 * edge) / bin_hz);
        std::vector<float> g;
        for (std::size_t k = first; k <= last; ++k) {
            const double f = static_cast<double>(k) * bin_hz;
            const double in = std::clamp(std::min(f - e.low_hz, e.high_hz - f) / edge + 0.5, 0.0, 1.0);
            g.push_back(static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * in)));
        }
        return std::pair{first, g};
    };
    std::tie(low_.first, low_.gain) = gains({kLow.low_hz, std::min(kLow.high_hz, kHighestShare * rate_hz_)});
    for (const auto& e : bands) {
        if (e.low_hz * 1.3 > kHighestShare * rate_hz_) break;
        edges_.push_back({e.low_hz, std::min(e.high_hz, kHighestShare * rate_hz_)});
        auto [first, g] = gains(edges_.back());
        std::size_t group = 1;
        while (group * steps_ < 2 * g.size() + 2) group *= 2;
        bands_.push_back({first, std::move(g), group, RealFft(group * steps_)});
    }
    power_.resize(bands_.size());
    std::size_t largest = kWavePerStep * steps_;
    for (const auto& b : bands_) largest = std::max(largest, b.small.size());
    re_.resize(largest);
    im_.resize(largest);
    part_.resize(largest / 2 + 1);
}

void BandSplit::take(float v) {
    in_[filled_++] = v;
    if (filled_ == length_) block();
}

void BandSplit::process(AudioView x) {
    real_samples_ += x.size();
    in_parts(x, [this](AudioView part) {
        clean_.assign(part.begin(), part.end());
        for (float& v : clean_) v = std::isfinite(v) ? std::clamp(v, -kLoudest, kLoudest) : 0.0F;
        if (decimator_)
            decimator_->process(clean_, [this](float v) { take(v); });
        else
            for (const float v : clean_) take(v);
    });
}

void BandSplit::finish() {
    if (decimator_) {
        const std::vector<float> zeros(decimator_->tail(), 0.0F);
        decimator_->process(zeros, [this](float v) { take(v); });
    }
    const double end_s = static_cast<double>(real_samples_) / (rate_hz_ * static_cast<double>(keep_every_));
    const auto want = static_cast<std::size_t>(end_s / spacing_s_);
    while (!power_.empty() && power_[0].size() < want) take(0.0F);
    for (auto& p : power_) p.resize(std::min(p.size(), want));
    waveform_.resize(std::min(waveform_.size(), kWavePerStep * want));
}

void BandSplit::block() {
    fft_.forward(in_, bins_);
    const auto lay = [&](const Band& b, std::size_t to, std::complex<float> turn, RealFft& small) {
        std::fill_n(part_.begin(), small.bins(), std::complex<float>{});
        for (std::size_t k = 0; k < b.gain.size(); ++k) part_[to + k] = bins_[b.first + k] * b.gain[k] * turn;
        return std::span(part_).first(small.bins());
    };
    const float scale = 1.0F / static_cast<float>(length_);
    const std::size_t skip = steps_ / 8;
    const std::size_t keep = steps_ / 4 * 3;
    low_fft_.inverse(lay(low_, low_.first, scale, low_fft_), std::span(re_).first(kWavePerStep * steps_));
    const auto kept = std::span(re_).subspan(kWavePerStep * skip, kWavePerStep * keep);
    waveform_.insert(waveform_.end(), kept.begin(), kept.end());
    for (std::size_t n = 0; n < bands_.size(); ++n) {
        auto& b = bands_[n];
        b.small.inverse(lay(b, 1, scale, b.small), std::span(re_).first(b.small.size()));
        b.small.inverse(lay(b, 1, {0.0F, -scale}, b.small), std::span(im_).first(b.small.size()));
        for (std::size_t i = skip; i < skip + keep; ++i) {
            float sum = 0.0F;
            for (std::size_t k = i * b.group; k < (i + 1) * b.group; ++k) sum += re_[k] * re_[k] + im_[k] * im_[k];
            power_[n].push_back(sum / static_cast<float>(b.group));
        }
    }
    std::copy(in_.begin() + static_cast<std::ptrdiff_t>(hop_), in_.end(), in_.begin());
    filled_ = length_ - hop_;
}

}  // namespace idlehark
