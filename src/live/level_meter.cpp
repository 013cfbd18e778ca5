#include "src/live/level_meter.hpp"

#include "dsp/full_scale.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kSilent_dbfs = -80.0;
constexpr double kQuiet_dbfs = -60.0;
constexpr double kClippedShare = 0.001;
constexpr double kHumShare = 0.9;
constexpr int kHumMultiples = 10;
constexpr double kPickUpKurtosis = 15.0;
constexpr double kPickUpRatio = 5.0;

double dbfs(double amplitude) { return amplitude > 0.0 ? std::max(20.0 * std::log10(amplitude), -200.0) : -200.0; }

double mean_of(AudioView x) {
    double sum = 0.0;
    for (const float v : x) sum += static_cast<double>(v);
    return x.empty() ? 0.0 : sum / static_cast<double>(x.size());
}

/// Power (mean square) of the line at `frequency_hz`, Hann window.
double line_power(AudioView x, double mean, double frequency_hz, double sample_rate_hz) {
    const double step = 2.0 * std::numbers::pi * frequency_hz / sample_rate_hz;
    const double turn = 2.0 * std::numbers::pi / static_cast<double>(x.size());
    const double c = 2.0 * std::cos(step);
    double a = 0.0;
    double b = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double window = 1.0 - std::cos(turn * static_cast<double>(i));  // mean 1: a line keeps its amplitude
        const double next = window * (static_cast<double>(x[i]) - mean) + c * a - b;
        b = a;
        a = next;
    }
    const double n = static_cast<double>(x.size());
    return 2.0 * (a * a + b * b - c * a * b) / (n * n);
}

double kurtosis(AudioView x) {
    const double mean = mean_of(x);
    double m2 = 0.0;
    double m4 = 0.0;
    for (const float v : x) {
        const double d = static_cast<double>(v) - mean;
        m2 += d * d;
        m4 += d * d * d * d;
    }
    return m2 > 0.0 ? m4 * static_cast<double>(x.size()) / (m2 * m2) : 0.0;
}

}  // namespace

ChannelLevel measure_level(AudioView x, double sample_rate_hz) {
    ChannelLevel level;
    const double mean = mean_of(x);
    double square = 0.0;
    float peak = 0.0F;
    std::size_t clipped = 0;
    for (const float v : x) {
        square += (static_cast<double>(v) - mean) * (static_cast<double>(v) - mean);
        peak = std::max(peak, std::fabs(v));
        if (std::fabs(v) >= kFullScale) ++clipped;
    }
    const double power = x.empty() ? 0.0 : square / static_cast<double>(x.size());
    level.rms_dbfs = dbfs(std::sqrt(power));
    level.peak_dbfs = dbfs(static_cast<double>(peak));
    level.clipped_share = x.empty() ? 0.0 : static_cast<double>(clipped) / static_cast<double>(x.size());

    const auto second = static_cast<std::size_t>(sample_rate_hz);
    const AudioView whole = x.first(second > 0 ? x.size() / second * second : 0);
    if (whole.empty() || power <= 0.0) return level;
    for (const double mains_hz : {50.0, 60.0}) {
        double hum = 0.0;
        for (int k = 1; k <= kHumMultiples && k * mains_hz < sample_rate_hz / 2.0; ++k)
            hum += line_power(whole, mean, k * mains_hz, sample_rate_hz);
        level.hum_share = std::max(level.hum_share, std::min(hum / power, 1.0));
    }
    return level;
}

std::optional<std::string> level_complaint(const ChannelLevel& level) {
    if (level.rms_dbfs < kSilent_dbfs)
        return fmt::format("silent ({:.0f} dBFS): is the microphone plugged in, and not muted?", level.rms_dbfs);
    if (level.hum_share > kHumShare)
        return fmt::format("{:.0f} % mains hum and hardly anything else: is the microphone plugged in?",
                           100.0 * level.hum_share);
    if (level.clipped_share > kClippedShare)
        return fmt::format("clipping ({:.1f} % of the samples): lower the recording level or move away",
                           100.0 * level.clipped_share);
    if (level.rms_dbfs < kQuiet_dbfs)
        return fmt::format("too quiet ({:.0f} dBFS): raise the recording level or move nearer", level.rms_dbfs);
    return {};
}

std::optional<int> tell_microphone(AudioView first, AudioView second) {
    const double a = kurtosis(first);
    const double b = kurtosis(second);
    if (b > kPickUpKurtosis && b > kPickUpRatio * a && a > 0.0) return 0;
    if (a > kPickUpKurtosis && a > kPickUpRatio * b && b > 0.0) return 1;
    return {};
}

}  // namespace idlehark
