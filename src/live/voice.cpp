#include "src/live/voice.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include <flite/flite.h>

extern "C" cst_voice* register_cmu_us_kal16(const char* folder);

namespace idlehark {

namespace {

constexpr float kBeepPeak = 0.4F;
constexpr float kVoicePeak = 0.5F;
/// Two tones one after the other.
struct Tones {
    double length_s, first_hz, second_hz;
};
constexpr Tones kSpray{0.25, 1000.0, 1500.0};
constexpr Tones kHold{0.6, 600.0, 400.0};
constexpr double kFade_s = 0.01;

struct DeleteWave {
    void operator()(cst_wave* w) const noexcept { delete_wave(w); }
};

cst_voice* voice() {
    static cst_voice* const kal = [] {
        flite_init();
        return register_cmu_us_kal16(nullptr);
    }();
    return kal;
}

}  // namespace

std::vector<float> beep(double sample_rate_hz, bool asks_for_spray) {
    const auto& tones = asks_for_spray ? kSpray : kHold;
    std::vector<float> x(static_cast<std::size_t>(tones.length_s * sample_rate_hz));
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double t = static_cast<double>(i) / sample_rate_hz;
        const double frequency_hz = t < 0.5 * tones.length_s ? tones.first_hz : tones.second_hz;
        const double fade = std::clamp(std::min(t, tones.length_s - t) / kFade_s, 0.0, 1.0);
        x[i] = kBeepPeak * static_cast<float>(fade * std::sin(2.0 * std::numbers::pi * frequency_hz * t));
    }
    return x;
}

std::vector<float> speak(const std::string& text, double sample_rate_hz) {
    if (text.empty()) return {};
    const std::unique_ptr<cst_wave, DeleteWave> wave{flite_text_to_wave(text.c_str(), voice())};
    if (!wave || wave->num_samples < 2) return {};
    const auto count = static_cast<std::size_t>(wave->num_samples);
    int peak = 1;
    for (std::size_t i = 0; i < count; ++i) peak = std::max(peak, std::abs(static_cast<int>(wave->samples[i])));
    const float gain = kVoicePeak / static_cast<float>(peak);
    // Straight lines between the samples: good enough for speech, and no prompt is worth a resampler.
    const double step = static_cast<double>(wave->sample_rate) / sample_rate_hz;
    std::vector<float> x(static_cast<std::size_t>(static_cast<double>(count - 1) / step));
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double at = static_cast<double>(i) * step;
        const auto k = static_cast<std::size_t>(at);
        const auto part = static_cast<float>(at - static_cast<double>(k));
        x[i] = gain *
               ((1.0F - part) * static_cast<float>(wave->samples[k]) + part * static_cast<float>(wave->samples[k + 1]));
    }
    return x;
}

}  // namespace idlehark
