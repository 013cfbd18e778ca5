#include "dsp/track/cycle_template.hpp"

#include "dsp/turned.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <array>
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
constexpr float kToneOverFloor = 30.F;     // power ratio from which a narrow line off the comb is cut to the floor
constexpr double kToneDistance_hz = 1.2;   // a line nearer than this to a half order is left alone
constexpr float kToneOverMean = 12.F;      // of what the mean cycle leaves over; noise's largest of 800 bins reaches 7
constexpr float kMedianOverMean = 0.693F;  // of noise's power
constexpr std::size_t kToneReach = 2;      // bins each side that go with a tone
constexpr double kMainsWidth_hz = 1.2;
constexpr double kKeepLine = 4.0;          // power over its noise from which a half order enters the template
constexpr double kLoudnessVariance = 0.1;  // of one firing against its average
constexpr float kTiny = 1e-30F;
constexpr std::size_t kLongTable = 2048;
constexpr double kOnePoint = 4294967296.0;  // in fixed-point positions

bool of_mains(double hz) {
    return std::abs(std::remainder(hz, 50.0)) < kMainsWidth_hz || std::abs(std::remainder(hz, 60.0)) < kMainsWidth_hz;
}

std::size_t point(std::uint64_t at) noexcept { return static_cast<std::size_t>(at >> 32); }
float part(std::uint64_t at) noexcept {
    return 0x1p-31F * static_cast<float>(static_cast<std::int32_t>((at >> 1) & 0x7fffffff));
}

BlockQuantiles floor_for(double bin_hz) {
    const auto block = static_cast<std::size_t>(0.5 * kFloorGroup_hz / bin_hz);
    return {block, static_cast<std::size_t>(kFloorQuantile * static_cast<double>(2 * block))};
}

/// Share of line m's amplitude that is left when samples are shared between neighbours of `points` table points.
double kept_by_fold(std::size_t m, std::size_t points) {
    if (m == 0) return 1.0;
    const double u = std::numbers::pi * static_cast<double>(m) / static_cast<double>(points);
    const double sinc = std::sin(u) / u;
    return sinc * sinc;
}
}  // namespace

CycleTemplate::CycleTemplate(double rate_hz, double segment_s, double highest_hz, std::size_t template_points)
    : rate_hz_(rate_hz),
      highest_hz_(highest_hz),
      length_(static_cast<std::size_t>(segment_s * rate_hz)),
      points_(template_points),
      fft_(RealFft::good_size(length_)),
      floor_(floor_for(rate_hz / static_cast<double>(fft_.size()))),
      cycle_fft_(template_points),
      long_fft_(kLongTable),
      taper_(faded_window(length_, static_cast<std::size_t>(kTaper_s * rate_hz))),
      in_(fft_.size()),
      x_(fft_.size()),
      sums_(points_),
      shape_(points_),
      slope_(points_),
      bins_(fft_.bins()),
      cycle_(cycle_fft_.bins()),
      work_(cycle_fft_.bins()),
      template_(points_) {}

void CycleTemplate::take(const Timeline& source, double first_s, std::span<const double> starts_s, double cycle_low_hz,
                         double cycle_high_hz) {
    const auto first = source.index_at(first_s) + 1;
    lead_s_ = source.time_s(first) - first_s;
    firsts_.clear();
    for (const double start_s : starts_s) {
        const double after = std::max(0.0, std::ceil((start_s - lead_s_) * rate_hz_));
        const auto sample = std::min(length_, static_cast<std::size_t>(after));
        firsts_.push_back({sample, std::max(0.0, static_cast<double>(sample) / rate_hz_ + lead_s_ - start_s)});
    }
    std::fill(in_.begin(), in_.end(), 0.F);
    const std::span<float> in(in_.data(), length_);
    source.copy(first, in);
    const double mean = std::accumulate(in.begin(), in.end(), 0.0) / static_cast<double>(length_);
    for (std::size_t i = 0; i < length_; ++i) in[i] = taper_[i] * static_cast<float>(static_cast<double>(in[i]) - mean);
    fft_.forward(in_, bins_);

    const double bin_hz = rate_hz_ / static_cast<double>(fft_.size());
    const auto lowest = static_cast<std::size_t>(kLowest_hz / bin_hz);
    const auto highest = std::min(bins_.size(), static_cast<std::size_t>(highest_hz_ / bin_hz));
    const std::size_t half = floor_.block();
    const auto unbias = static_cast<float>(-1.0 / std::log(1.0 - kFloorQuantile));
    power_.clear();
    for (std::size_t b = lowest; b < highest; ++b) power_.push_back(std::norm(bins_[b]));
    floors_.clear();
    for (const float quantile : floor_.of(power_)) {
        const auto own = power_.begin() + static_cast<std::ptrdiff_t>(floors_.size() * half);
        const float level =
            std::accumulate(own, own + static_cast<std::ptrdiff_t>(2 * half), 0.F) / static_cast<float>(2 * half);
        floors_.push_back(quantile * unbias + kOwnNoise * level + kTiny);
    }
    std::fill(bins_.begin(), bins_.begin() + static_cast<std::ptrdiff_t>(lowest), 0.F);
    std::fill(bins_.begin() + static_cast<std::ptrdiff_t>(highest), bins_.end(), 0.F);
    const auto whiten = [&](std::size_t b, float level) {
        const float power = std::norm(bins_[b]);
        float gain = 1.F / std::sqrt(level);
        if (power > kToneOverFloor * level) {
            const double f = static_cast<double>(b) * bin_hz;
            const double order = std::floor((f + kToneDistance_hz) / cycle_low_hz);
            const bool on_comb = order * cycle_high_hz >= f - kToneDistance_hz;
            if (!on_comb) gain = 1.F / std::sqrt(power);
        }
        bins_[b] *= gain;
    };
    // Straight lines between the groups' centres, level before the first and after the last.
    std::size_t b = lowest;
    for (; b < lowest + half; ++b) whiten(b, floors_.front());
    for (std::size_t g = 0; g + 1 < floors_.size(); ++g) {
        const float rise = (floors_[g + 1] - floors_[g]) / static_cast<float>(half);
        for (std::size_t i = 0; i < half; ++i) whiten(b++, floors_[g] + rise * static_cast<float>(i));
    }
    for (; b < highest; ++b) whiten(b, floors_.back());
    fft_.inverse(bins_, x_);
    // Scaled so that the whitened noise has unit power per sample.
    const auto scale = static_cast<float>(1.0 / std::sqrt(2.0 * static_cast<double>(highest - lowest)));
    for (std::size_t i = 0; i < length_; ++i) x_[i] *= scale;
    noise_ = 1.0;
}

CycleTemplate::Run CycleTemplate::run(const CyclePath& path, std::size_t k, double points_per_cycle) const noexcept {
    const auto [from, since_s] = firsts_[k];
    const double fixed = points_per_cycle * kOnePoint;
    return {.from = from,
            .to = firsts_[k + 1].sample,
            .at = static_cast<std::uint64_t>((path.phase[k] + since_s * path.speed_hz[k]) * fixed),
            .step = static_cast<std::uint64_t>(path.speed_hz[k] * (fixed / rate_hz_))};
}

std::size_t CycleTemplate::fold(const CyclePath& path, double cycles, std::span<float> table) const {
    std::fill(table.begin(), table.end(), 0.F);
    const std::size_t mask = table.size() - 1;
    std::size_t used = 0;
    for (std::size_t k = 0; k < path.steps(); ++k) {
        if (!path.heard[k]) continue;
        auto [from, to, at, step] = run(path, k, static_cast<double>(table.size()) / cycles);
        if (from >= to) continue;
        used += to - from;
        for (std::size_t i = from; i < to; ++i, at += step) {
            const std::size_t p = point(at) & mask;
            const float to_next = x_[i] * part(at);
            table[p] += x_[i] - to_next;
            table[(p + 1) & mask] += to_next;
        }
    }
    return used;
}

void CycleTemplate::average(const CyclePath& path, double highest_hz) {
    const std::size_t used = fold(path, 1.0, sums_);
    cycle_fft_.forward(sums_, cycle_);
    const double per_sample = used > 0 ? 1.0 / static_cast<double>(used) : 0.0;
    const double line_noise = noise_ * per_sample;
    const double length_s = path.start_s.back() - path.start_s.front();
    const double mean_hz = (path.phase.back() - path.phase.front()) / length_s;
    const auto most = static_cast<std::size_t>(std::min(highest_hz, highest_hz_) / mean_hz);
    lines_ = 0;
    cycle_power_ = 0.0;
    for (std::size_t m = 0; m < cycle_.size(); ++m) {
        if (m == 0 || m > most || m + 1 == cycle_.size()) {
            cycle_[m] = work_[m] = 0.F;
            continue;
        }
        const double scale = per_sample / kept_by_fold(m, points_);
        const double ratio = static_cast<double>(std::norm(cycle_[m])) * scale * scale / (line_noise + 1e-300);
        cycle_[m] *= ratio > kKeepLine ? static_cast<float>(scale * (1.0 - 1.0 / ratio)) : 0.F;
        lines_ += ratio > kKeepLine;
        cycle_power_ += 2.0 * static_cast<double>(std::norm(cycle_[m]));
        const auto turn = static_cast<float>(2.0 * std::numbers::pi * static_cast<double>(m));
        work_[m] = {-turn * cycle_[m].imag(), turn * cycle_[m].real()};
    }
    cycle_fft_.inverse(cycle_, shape_);
    cycle_fft_.inverse(work_, slope_);
    for (std::size_t p = 0; p < points_; ++p) {
        const std::size_t next = (p + 1) & (points_ - 1);
        template_[p] = {shape_[p], slope_[p], shape_[next] - shape_[p], slope_[next] - slope_[p]};
    }
}

void CycleTemplate::cut_foreign_tones(const CyclePath& path, double highest_hz) {
    average(path, highest_hz);
    std::fill(in_.begin(), in_.end(), 0.F);
    for (std::size_t k = 0; k < path.steps(); ++k) {
        auto [from, to, at, step] = run(path, k, static_cast<double>(points_));
        for (std::size_t i = from; i < to; ++i, at += step) {
            const Point& p = template_[point(at) & (points_ - 1)];
            in_[i] = x_[i] - (p.value + part(at) * p.value_gain);
        }
    }
    fft_.forward(in_, bins_);
    const double bin_hz = rate_hz_ / static_cast<double>(fft_.size());
    const auto lowest = static_cast<std::size_t>(kLowest_hz / bin_hz);
    const auto highest = std::min(bins_.size() - kToneReach - 1, static_cast<std::size_t>(highest_hz / bin_hz));
    power_.clear();
    for (std::size_t b = 0; b < highest + kToneReach; ++b) power_.push_back(std::norm(bins_[b]));
    left_.assign(power_.begin() + static_cast<std::ptrdiff_t>(lowest),
                 power_.begin() + static_cast<std::ptrdiff_t>(highest));
    const float sum = std::accumulate(left_.begin(), left_.end(), 0.F);
    const auto middle = left_.begin() + static_cast<std::ptrdiff_t>(left_.size() / 2);
    std::nth_element(left_.begin(), middle, left_.end());
    const float threshold = kToneOverMean / kMedianOverMean * *middle;
    tones_.assign(bins_.size(), 0.F);
    float cut = 0.F;
    int tones = 0;
    for (std::size_t b = lowest + kToneReach; b < highest; ++b)
        if (power_[b] > threshold) {
            cut += power_[b];
            tones +=
                power_[b] > power_[b - 1] && power_[b] >= power_[b + 1] && !of_mains(static_cast<double>(b) * bin_hz);
            std::copy_n(bins_.begin() + static_cast<std::ptrdiff_t>(b - kToneReach), 2 * kToneReach + 1,
                        tones_.begin() + static_cast<std::ptrdiff_t>(b - kToneReach));
        }
    foreign_share_ = sum > 0.F ? static_cast<double>(cut / sum) : 0.0;
    foreign_tones_per_line_ = tones / std::max(1.0, static_cast<double>(lines_));
    if (cut <= 0.F) return;
    fft_.inverse(tones_, in_);
    const float scale = 1.F / static_cast<float>(fft_.size());
    for (std::size_t i = 0; i < length_; ++i) x_[i] -= scale * in_[i];
}

std::vector<float> CycleTemplate::lines_over_noise(const CyclePath& path, double cycles, double highest_hz) {
    std::vector<float> table(kLongTable);
    std::vector<std::complex<float>> lines(long_fft_.bins());
    const std::size_t used = fold(path, cycles, table);
    long_fft_.forward(table, lines);
    const double length_s = path.start_s.back() - path.start_s.front();
    const double line_hz = (path.phase.back() - path.phase.front()) / (length_s * cycles);
    const std::size_t count = std::min(long_fft_.bins() - 1, static_cast<std::size_t>(highest_hz / line_hz) + 1);
    std::vector<float> over_noise(used > 0 ? count : 0);
    for (std::size_t i = 0; i < over_noise.size(); ++i) {
        const double kept = kept_by_fold(i, kLongTable);
        over_noise[i] = static_cast<float>(static_cast<double>(std::norm(lines[i])) /
                                           (kept * kept * static_cast<double>(used) * noise_));
    }
    return over_noise;
}

std::size_t CycleTemplate::line_phasors(const CyclePath& path, int every, double length_s, std::size_t parts,
                                        std::span<std::complex<float>> phasors) const {
    const std::size_t lines = phasors.size() / parts;
    // Four lines side by side, each turned from sample to sample.
    struct Four {
        std::array<float, 4> re{}, im{};
        void set(std::size_t lane, std::complex<double> v) {
            re[lane] = static_cast<float>(v.real()), im[lane] = static_cast<float>(v.imag());
        }
    };
    std::size_t used = 0;
    for (std::size_t k = 0; k < path.steps(); ++k) {
        const auto [from, since_s] = firsts_[k];
        const std::size_t to = firsts_[k + 1].sample;
        if (from >= to) continue;
        used += to - from;
        const double place = path.start_s[k] / length_s * static_cast<double>(parts);
        auto* const sums = phasors.data() + std::min(static_cast<std::size_t>(place), parts - 1) * lines;
        const auto first = turned(every * (path.phase[k] + since_s * path.speed_hz[k]));
        const auto first_step = turned(every * path.speed_hz[k] / rate_hz_);
        auto at = first, turn = first_step;
        for (std::size_t m = 0; m < lines; m += 4) {
            Four line, step, sum;
            for (std::size_t l = 0; l < 4; ++l, at *= first, turn *= first_step) line.set(l, at), step.set(l, turn);
            for (std::size_t i = from; i < to; ++i)
                for (std::size_t l = 0; l < 4; ++l) {
                    sum.re[l] += x_[i] * line.re[l];
                    sum.im[l] += x_[i] * line.im[l];
                    const float re = line.re[l] * step.re[l] - line.im[l] * step.im[l];
                    line.im[l] = line.re[l] * step.im[l] + line.im[l] * step.re[l];
                    line.re[l] = re;
                }
            for (std::size_t l = 0; l < std::min<std::size_t>(4, lines - m); ++l)
                sums[m + l] += std::complex<float>(sum.re[l], sum.im[l]);
        }
    }
    return used;
}

CycleTemplate::Sums CycleTemplate::sums_over(const Run& run) const noexcept {
    Sums s;
    std::uint64_t at = run.at;
    for (std::size_t i = run.from; i < run.to; ++i, at += run.step) {
        const Point& p = template_[point(at) & (points_ - 1)];
        const float u = part(at);
        const float value = p.value + u * p.value_gain;
        const float rise = p.rise + u * p.rise_gain;
        const float error = x_[i] - value;
        s.error_error += error * error, s.error_rise += error * rise, s.error_value += error * value;
        s.rise_rise += rise * rise, s.rise_value += rise * value, s.value_value += value * value;
    }
    return s;
}

void CycleTemplate::compare(const CyclePath& path, std::size_t steps_per_block, std::span<double> gradient,
                            std::span<double> information) {
    blocks_.assign(gradient.size(), {});
    double left = 0.0;
    std::size_t used = 0;
    for (std::size_t k = 0; k < gradient.size() * steps_per_block; ++k) {
        const Run r = run(path, k, static_cast<double>(points_));
        const Sums s = sums_over(r);
        Sums& b = blocks_[k / steps_per_block];
        b.error_rise += s.error_rise, b.error_value += s.error_value;
        b.rise_rise += s.rise_rise, b.rise_value += s.rise_value, b.value_value += s.value_value;
        if (path.heard[k] && r.to > r.from) {
            left += static_cast<double>(s.error_error);
            used += r.to - r.from;
        }
    }
    if (used > 0) noise_ = std::max(left / static_cast<double>(used), 1e-9);
    for (std::size_t j = 0; j < gradient.size(); ++j) {
        const Sums& b = blocks_[j];
        // A firing louder or softer than its average is no shift in time: only the part of the rise that does not lie
        // along the shape itself counts. The prior on loudness keeps a faint template from being divided by.
        const double rise_value = static_cast<double>(b.rise_value);
        const double loudness = rise_value / (static_cast<double>(b.value_value) + noise_ / kLoudnessVariance);
        gradient[j] += (static_cast<double>(b.error_rise) - loudness * static_cast<double>(b.error_value)) / noise_;
        information[j] += std::max(0.0, static_cast<double>(b.rise_rise) - loudness * rise_value) / noise_;
    }
}

}  // namespace idlehark
