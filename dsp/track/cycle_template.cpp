#include "dsp/track/cycle_template.hpp"

#include "dsp/track/line_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <numeric>

namespace idlehark {

namespace {
constexpr double kLowest_hz = 25.0;
constexpr double kFloorGroup_hz = 32.0;
constexpr double kFloorQuantile = 0.4;
// Firings differ from one another, so a strong line brings noise of its own: share of its power.
constexpr float kOwnNoise = 0.1F;
constexpr double kTaper_s = 0.1;
constexpr double kToneOverFloor = 30.0;    // power ratio from which a narrow line off the comb is cut to the floor
constexpr double kToneDistance_hz = 1.2;   // a line nearer than this to a half order is left alone
constexpr double kKeepLine = 4.0;          // power over its noise from which a half order enters the template
constexpr double kLoudnessVariance = 0.1;  // of one firing against its average
constexpr float kTiny = 1e-30F;
}  // namespace

CycleTemplate::CycleTemplate(double rate_hz, double segment_s, double highest_hz, std::size_t template_points)
    : rate_hz_(rate_hz),
      highest_hz_(highest_hz),
      length_(static_cast<std::size_t>(segment_s * rate_hz)),
      points_(template_points),
      fft_(RealFft::good_size(length_)),
      cycle_fft_(template_points),
      in_(fft_.size()),
      x_(fft_.size()),
      sums_(points_),
      shape_(points_ + 1),
      slope_(points_ + 1),
      bins_(fft_.bins()),
      cycle_(cycle_fft_.bins()),
      work_(cycle_fft_.bins()) {}

void CycleTemplate::take(const Timeline& source, double first_s, double cycle_low_hz, double cycle_high_hz) {
    const auto first = source.index_at(first_s) + 1;
    lead_s_ = source.time_s(first) - first_s;
    const std::span<float> in(in_.data(), length_);
    source.copy(first, in);
    const double mean = std::accumulate(in.begin(), in.end(), 0.0) / static_cast<double>(length_);
    const auto taper = static_cast<std::size_t>(kTaper_s * rate_hz_);
    for (float& v : in) v = static_cast<float>(static_cast<double>(v) - mean);
    for (std::size_t i = 0; i < taper; ++i) {
        const auto w = static_cast<float>(
            0.5 - 0.5 * std::cos(std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(taper)));
        in[i] *= w;
        in[length_ - 1 - i] *= w;
    }
    fft_.forward(in_, bins_);

    const double bin_hz = rate_hz_ / static_cast<double>(fft_.size());
    const auto lowest = static_cast<std::size_t>(kLowest_hz / bin_hz);
    const auto highest = std::min(bins_.size(), static_cast<std::size_t>(highest_hz_ / bin_hz));
    const auto group = static_cast<std::size_t>(kFloorGroup_hz / bin_hz);
    const std::size_t half = group / 2;
    const auto rank = static_cast<std::ptrdiff_t>(kFloorQuantile * static_cast<double>(group));
    const auto unbias = static_cast<float>(-1.0 / std::log(1.0 - kFloorQuantile));
    floors_.clear();
    group_.resize(group);
    for (std::size_t g = lowest; g + group <= highest; g += half) {
        float sum = 0.F;
        for (std::size_t b = 0; b < group; ++b) {
            group_[b] = std::norm(bins_[g + b]);
            sum += group_[b];
        }
        std::nth_element(group_.begin(), group_.begin() + rank, group_.end());
        floors_.push_back(group_[static_cast<std::size_t>(rank)] * unbias +
                          kOwnNoise * sum / static_cast<float>(group) + kTiny);
    }
    std::fill(bins_.begin(), bins_.begin() + static_cast<std::ptrdiff_t>(lowest), 0.F);
    std::fill(bins_.begin() + static_cast<std::ptrdiff_t>(highest), bins_.end(), 0.F);
    for (std::size_t b = lowest; b < highest; ++b) {
        const double at =
            std::clamp((static_cast<double>(b) - static_cast<double>(lowest + half)) / static_cast<double>(half), 0.0,
                       static_cast<double>(floors_.size() - 1));
        const auto g = static_cast<std::size_t>(at);
        const auto part = static_cast<float>(at - static_cast<double>(g));
        const float level = floors_[g] * (1.F - part) + floors_[std::min(g + 1, floors_.size() - 1)] * part;
        const float power = std::norm(bins_[b]);
        float gain = 1.F / std::sqrt(level);
        if (power > static_cast<float>(kToneOverFloor) * level) {
            const double f = static_cast<double>(b) * bin_hz;
            const double order = std::floor((f + kToneDistance_hz) / cycle_low_hz);
            const bool on_comb = order * cycle_high_hz >= f - kToneDistance_hz;
            if (!on_comb) gain = 1.F / std::sqrt(power);
        }
        bins_[b] *= gain;
    }
    fft_.inverse(bins_, x_);
    // Scaled so that the whitened noise has unit power per sample.
    const auto scale = static_cast<float>(1.0 / std::sqrt(2.0 * static_cast<double>(highest - lowest)));
    for (std::size_t i = 0; i < length_; ++i) x_[i] *= scale;
    noise_ = 1.0;
}

CycleTemplate::Run CycleTemplate::run(const CyclePath& path, std::size_t k) const noexcept {
    const auto first_after = [&](double t) {
        return std::min(length_, static_cast<std::size_t>(std::max(0.0, std::ceil((t - lead_s_) * rate_hz_))));
    };
    const std::size_t from = first_after(path.start_s[k]);
    const double since_s = static_cast<double>(from) / rate_hz_ + lead_s_ - path.start_s[k];
    const double points = static_cast<double>(points_);
    return {.from = from,
            .to = first_after(path.start_s[k + 1]),
            .at = (path.phase[k] + since_s * path.speed_hz[k]) * points,
            .step = path.speed_hz[k] / rate_hz_ * points};
}

void CycleTemplate::average(const CyclePath& path, double highest_hz) {
    std::fill(sums_.begin(), sums_.end(), 0.F);
    std::size_t used = 0;
    for (std::size_t k = 0; k < path.steps(); ++k) {
        if (!path.heard[k]) continue;
        auto [from, to, at, step] = run(path, k);
        used += to - from;
        for (std::size_t i = from; i < to; ++i, at += step) {
            const auto whole = static_cast<std::int64_t>(at);
            const auto part = static_cast<float>(at - static_cast<double>(whole));
            const auto p = static_cast<std::size_t>(whole) % points_;
            sums_[p] += x_[i] * (1.F - part);
            sums_[p + 1 == points_ ? 0 : p + 1] += x_[i] * part;
        }
    }
    cycle_fft_.forward(sums_, cycle_);
    const double per_sample = used > 0 ? 1.0 / static_cast<double>(used) : 0.0;
    const double line_noise = noise_ * per_sample;
    const double length_s = path.start_s.back() - path.start_s.front();
    const double mean_hz = (path.phase.back() - path.phase.front()) / length_s;
    const auto most = static_cast<std::size_t>(std::min(highest_hz, highest_hz_) / mean_hz);
    line_ratio_.assign(1, 0.F);
    for (std::size_t m = 0; m < cycle_.size(); ++m) {
        if (m == 0 || m > most || m + 1 == cycle_.size()) {
            cycle_[m] = work_[m] = 0.F;
            continue;
        }
        const double u = std::numbers::pi * static_cast<double>(m) / static_cast<double>(points_);
        const double split = std::sin(u) / u;  // squared: what sharing a sample between two points takes off
        const std::complex<double> line = std::complex<double>(cycle_[m]) * per_sample / (split * split);
        const double ratio = std::norm(line) / (line_noise + 1e-300);
        line_ratio_.push_back(static_cast<float>(ratio));
        cycle_[m] = ratio > kKeepLine ? std::complex<float>(line * (1.0 - 1.0 / ratio)) : 0.F;
        work_[m] =
            cycle_[m] * std::complex<float>(0.F, static_cast<float>(2.0 * std::numbers::pi * static_cast<double>(m)));
    }
    cycle_fft_.inverse(cycle_, {shape_.data(), points_});
    cycle_fft_.inverse(work_, {slope_.data(), points_});
    shape_[points_] = shape_[0];
    slope_[points_] = slope_[0];

    double left = 0.0;  // what the template leaves over is the noise
    for (std::size_t k = 0; k < path.steps(); ++k) {
        if (!path.heard[k]) continue;
        auto [from, to, at, step] = run(path, k);
        float sum = 0.F;
        for (std::size_t i = from; i < to; ++i, at += step) {
            const auto p = static_cast<std::size_t>(static_cast<std::int64_t>(at)) % points_;
            const float e = x_[i] - 0.5F * (shape_[p] + shape_[p + 1]);
            sum += e * e;
        }
        left += static_cast<double>(sum);
    }
    if (used > 0) noise_ = std::max(left * per_sample, 1e-9);
}

double CycleTemplate::power_over_noise(const CyclePath& path, double multiple) const {
    std::complex<double> sum;
    std::size_t used = 0;
    for (std::size_t k = 0; k < path.steps(); ++k) {
        if (!path.heard[k]) continue;
        const auto [from, to, at, step] = run(path, k);
        const double turn = -2.0 * std::numbers::pi * multiple / static_cast<double>(points_);
        std::complex<double> phasor = std::polar(1.0, std::remainder(turn * at, 2.0 * std::numbers::pi));
        const std::complex<double> advance = std::polar(1.0, turn * step);
        for (std::size_t i = from; i < to; ++i, phasor *= advance) sum += static_cast<double>(x_[i]) * phasor;
        used += to - from;
    }
    return used > 0 ? std::norm(sum) / (static_cast<double>(used) * noise_) : 0.0;
}

CycleTemplate::Support CycleTemplate::support(int spacing) const {
    Support s;
    const double noise = static_cast<double>(mean_evidence_of_noise());
    for (std::size_t m = static_cast<std::size_t>(spacing), k = 1; m < line_ratio_.size();
         m += static_cast<std::size_t>(spacing), ++k) {
        const double l = static_cast<double>(line_evidence(line_ratio_[m])) - noise;
        s.all += l;
        if (k % 2 != 0) s.without_2nd += 2.0 * l;
        if (k % 3 != 0) s.without_3rd += 1.5 * l;
        if (k % 5 != 0) s.without_5th += 1.25 * l;
        ++s.lines;
    }
    return s;
}

void CycleTemplate::compare(const CyclePath& path, std::size_t steps_per_block, std::span<double> gradient,
                            std::span<double> information) {
    for (std::size_t j = 0; j < gradient.size(); ++j) {
        float error_rise = 0.F, error_value = 0.F, rise_rise = 0.F, rise_value = 0.F, value_value = 0.F;
        for (std::size_t k = j * steps_per_block; k < (j + 1) * steps_per_block; ++k) {
            auto [from, to, at, step] = run(path, k);
            for (std::size_t i = from; i < to; ++i, at += step) {
                const auto whole = static_cast<std::int64_t>(at);
                const auto part = static_cast<float>(at - static_cast<double>(whole));
                const auto p = static_cast<std::size_t>(whole) % points_;
                const float value = shape_[p] + part * (shape_[p + 1] - shape_[p]);
                const float rise = slope_[p] + part * (slope_[p + 1] - slope_[p]);
                const float error = x_[i] - value;
                error_rise += error * rise, error_value += error * value;
                rise_rise += rise * rise, rise_value += rise * value, value_value += value * value;
            }
        }
        // A firing louder or softer than its average is no shift in time: only the part of the rise that does not lie
        // along the shape itself counts. The prior on loudness keeps a faint template from being divided by.
        const double loudness =
            static_cast<double>(rise_value) / (static_cast<double>(value_value) + noise_ / kLoudnessVariance);
        gradient[j] += (static_cast<double>(error_rise) - loudness * static_cast<double>(error_value)) / noise_;
        information[j] +=
            std::max(0.0, static_cast<double>(rise_rise) - loudness * static_cast<double>(rise_value)) / noise_;
    }
}

}  // namespace idlehark
