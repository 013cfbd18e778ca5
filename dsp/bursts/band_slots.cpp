#include "dsp/bursts/band_slots.hpp"

#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <stdexcept>
#include <string>
#include <utility>

namespace idlehark {
namespace {

constexpr unsigned kFramesPerSlot = 2;
constexpr double kFrameRate_hz = kFramesPerSlot / BandSlots::kSlot_s;
constexpr std::array<double, BandSlot::kLow + 1> kLowEdges_hz{150.0, 400.0, 900.0, 1900.0};
constexpr std::array<double, BandSlot::kUpper + 1> kUpperEdges_hz{2000.0, 3000.0,  4000.0,  5500.0,
                                                                  7500.0, 10000.0, 13500.0, 18000.0};
constexpr double kNyquistShare = 0.94;   // converters roll off above it
constexpr double kLeastBandShare = 0.6;  // a band cut shorter than this by the Nyquist frequency is left out
constexpr float kSilence = 1e-13F;       // mean square below the rounding noise of 24 bits
constexpr float kPowerFloor = 1e-14F;    // keeps the logarithm finite in bands that a codec has emptied

std::size_t checked_size(double rate_hz) {
    if (!(rate_hz >= 8000.0 && rate_hz <= 192000.0))
        throw std::invalid_argument("sample rate " + std::to_string(rate_hz) + " Hz outside 8000..192000");
    return RealFft::good_size(static_cast<std::size_t>(std::ceil(rate_hz / kFrameRate_hz)));
}

}  // namespace

BandSlots::BandSlots(double sample_rate_hz)
    : rate_hz_(sample_rate_hz),
      fft_(checked_size(sample_rate_hz)),
      window_(hann_window(static_cast<std::size_t>(rate_hz_ / kFrameRate_hz))),
      held_(fft_.size()),
      frame_(fft_.size()),
      spectrum_(fft_.bins()) {
    const float half_sum = 0.5F * std::accumulate(window_.begin(), window_.end(), 0.0F);
    for (float& w : window_) w /= half_sum;  // a full-scale sine has power 1 in its bin
    window_.resize(fft_.size(), 0.0F);
    const double bin_hz = rate_hz_ / static_cast<double>(fft_.size());
    const auto bin_at = [&](double f_hz) { return static_cast<std::size_t>(std::lround(f_hz / bin_hz)); };
    for (std::size_t b = 0; b < BandSlot::kLow; ++b) bins_[b] = {bin_at(kLowEdges_hz[b]), bin_at(kLowEdges_hz[b + 1])};
    for (std::size_t b = 0; b < BandSlot::kUpper; ++b) {
        const double low_hz = kUpperEdges_hz[b];
        const double high_hz = std::min(kUpperEdges_hz[b + 1], kNyquistShare * 0.5 * rate_hz_);
        if (high_hz - low_hz < kLeastBandShare * (kUpperEdges_hz[b + 1] - low_hz)) break;
        bins_[BandSlot::kLow + b] = {bin_at(low_hz), bin_at(high_hz)};
        ++upper_bands_;
    }
    reset();
}

std::uint64_t BandSlots::end_of_frame(std::uint64_t frame) const noexcept {
    return static_cast<std::uint64_t>(static_cast<double>(frame + 1) * rate_hz_ / kFrameRate_hz);
}

void BandSlots::reset() noexcept {
    filled_ = 0;
    samples_ = 0;
    frames_ = 0;
    frame_end_ = end_of_frame(0);
    building_ = {};
}

bool BandSlots::take(float v) noexcept {
    held_[filled_++] = std::isfinite(v) ? v : 0.0F;
    if (++samples_ < frame_end_) return false;
    add_frame();
    filled_ = 0;
    frame_end_ = end_of_frame(++frames_);
    if (frames_ % kFramesPerSlot != 0) return false;
    slot_ = building_;
    building_ = {};
    return true;
}

void BandSlots::add_frame() noexcept {
    float square = 0.0F;
    for (std::size_t i = 0; i < filled_; ++i) {
        frame_[i] = held_[i] * window_[i];
        square += held_[i] * held_[i];
    }
    std::fill(frame_.begin() + static_cast<std::ptrdiff_t>(filled_), frame_.end(), 0.0F);
    if (square < kSilence * static_cast<float>(filled_)) building_.silent = true;
    fft_.forward(frame_, spectrum_);
    constexpr float kShare = 1.0F / kFramesPerSlot;
    for (std::size_t b = 0; b < BandSlot::kLow + upper_bands_; ++b) {
        float sum = 0.0F;
        float own = 0.0F;
        float neighbour = 0.0F;
        float last = 0.0F;
        float last_but_one = 0.0F;
        for (std::size_t i = bins_[b][0]; i < bins_[b][1]; ++i) {
            const float p = spectrum_[i].real() * spectrum_[i].real() + spectrum_[i].imag() * spectrum_[i].imag();
            sum += p;
            own += p * p;
            neighbour += p * last_but_one;
            last_but_one = std::exchange(last, p);
        }
        building_.level_db[b] += kShare * 10.0F * std::log10(sum + kPowerFloor);
        if (b < BandSlot::kLow) continue;
        building_.upper_power += kShare * sum;
        if (sum > 0.0F) {
            const auto n = static_cast<float>(bins_[b][1] - bins_[b][0]);
            building_.own[b - BandSlot::kLow] += own / (sum * sum) / n;
            building_.neighbour[b - BandSlot::kLow] += neighbour / (sum * sum) / (n - 2.0F);
        }
    }
}

}  // namespace idlehark
