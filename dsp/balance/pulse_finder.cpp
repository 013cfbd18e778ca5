#include "dsp/balance/pulse_finder.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {
constexpr double kBlock_s = 0.5e-3;
constexpr double kStrongPerSecond = 2.0;  // slower than any four-stroke idle fires one cylinder
constexpr double kApart_s = 15e-3;
constexpr float kOverOrdinary = 6.0F;
constexpr std::size_t kFewest = 4;
}  // namespace

PulseFinder::PulseFinder(double sample_rate_hz) : rate_hz_(sample_rate_hz) {
    if (!(sample_rate_hz >= 8000.0 && sample_rate_hz <= 192000.0))
        throw std::invalid_argument("sample_rate_hz: " + std::to_string(sample_rate_hz) + " is not in 8000..192000");
    block_ = static_cast<std::size_t>(std::lround(kBlock_s * rate_hz_));
}

void PulseFinder::process(AudioView x) {
    for (float v : x) {
        if (!std::isfinite(v)) v = 0.0F;
        peak_ = std::max(peak_, std::fabs(v - last_));  // steps, so that hum and wind don't matter
        last_ = v;
        if (++filled_ < block_) continue;
        peaks_.push_back(peak_);
        filled_ = 0;
        peak_ = 0.0F;
    }
}

std::vector<double> PulseFinder::pulses_s() const {
    const double block_s = static_cast<double>(block_) / rate_hz_;
    const auto strong = static_cast<std::size_t>(kStrongPerSecond * block_s * static_cast<double>(peaks_.size()));
    if (strong < kFewest) return {};
    auto sorted = peaks_;
    std::sort(sorted.begin(), sorted.end(), std::greater<>());
    const float top = sorted[strong / 2];
    if (!(top > kOverOrdinary * sorted[sorted.size() / 2]) || !(top > 0.0F)) return {};
    std::vector<double> out;
    for (std::size_t i = 0; i < peaks_.size(); ++i) {
        const double t = (static_cast<double>(i) + 0.5) * block_s;
        if (peaks_[i] > 0.5F * top && (out.empty() || t - out.back() > kApart_s)) out.push_back(t);
    }
    return out;
}

}  // namespace idlehark
