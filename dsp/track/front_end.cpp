#include "dsp/track/front_end.hpp"

#include "dsp/full_scale.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace idlehark {

namespace {
constexpr std::size_t kLanes = 8;            // independent sums, so that the compiler may use vectors
constexpr double kLowRate_hz = 4000.0;       // decimated in two steps, the second by kMidFactor
constexpr double kEnvelopeRate_hz = 1000.0;  // firing modulation is used up to about 300 Hz
constexpr int kMidFactor = 2;
constexpr int kFilterHalfLength = 8;  // kept samples each side of the decimating filters' centre
constexpr std::array<double, Signals::kEnvelopes> kEnvelopeFrom_hz{1600.0, 4500.0};
constexpr float kLoudest = 16.F;    // beyond any sane float recording; keeps the filters from overflowing
constexpr float kSilence = 1e-12F;  // mean square of digital silence, so that the logarithm stays finite

int low_factor(double rate_hz) { return std::max(1, static_cast<int>(rate_hz / kLowRate_hz)); }

std::size_t envelope_block(double rate_hz) { return static_cast<std::size_t>(std::lround(rate_hz / kEnvelopeRate_hz)); }
Signals signals_of(double rate_hz) {
    const auto block = static_cast<double>(envelope_block(rate_hz));
    const Timeline envelope(rate_hz / block, 0.5 * block / rate_hz);
    return {Timeline(rate_hz / (low_factor(rate_hz) * kMidFactor), 0.0), {envelope, envelope}};
}
}  // namespace

Decimator::Decimator(int keep_every, int half_length)
    : keep_every_(static_cast<std::size_t>(keep_every)), half_(static_cast<std::size_t>(keep_every * half_length)) {
    const std::size_t length = 2 * half_ + 1;
    taps_.assign((length + kLanes - 1) / kLanes * kLanes, 0.F);
    const double cutoff = 0.45 / keep_every;  // of the input rate; the -6 dB point
    std::vector<double> ideal(length);
    double sum = 0.0;
    for (std::size_t i = 0; i < length; ++i) {
        const double t = static_cast<double>(i) - static_cast<double>(half_);
        const double x = 2.0 * std::numbers::pi * cutoff * t;
        const double sinc = t == 0.0 ? 1.0 : std::sin(x) / x;
        const double hamming = 0.54 + 0.46 * std::cos(std::numbers::pi * t / static_cast<double>(half_ + 1));
        ideal[i] = sinc * hamming;
        sum += ideal[i];
    }
    for (std::size_t i = 0; i < length; ++i) taps_[i] = static_cast<float>(ideal[i] / sum);
    buffer_.resize(taps_.size() + 4096);
    reset();
}

void Decimator::reset() {
    // Zeros stand for the sound before the first sample, so that output 0 is centred on input 0.
    std::fill(buffer_.begin(), buffer_.end(), 0.F);
    fill_ = half_;
    next_ = 0;
}

float Decimator::dot(const float* x) const noexcept {
    std::array<float, kLanes> sums{};
    for (std::size_t i = 0; i < taps_.size(); i += kLanes)
        for (std::size_t lane = 0; lane < kLanes; ++lane) sums[lane] += taps_[i + lane] * x[i + lane];
    return ((sums[0] + sums[4]) + (sums[1] + sums[5])) + ((sums[2] + sums[6]) + (sums[3] + sums[7]));
}

void Decimator::shift() {
    std::copy(buffer_.begin() + static_cast<std::ptrdiff_t>(next_),
              buffer_.begin() + static_cast<std::ptrdiff_t>(fill_), buffer_.begin());
    fill_ -= next_;
    next_ = 0;
}

FrontEnd::HighPass FrontEnd::high_pass(double cutoff_hz, double rate_hz) {
    // Butterworth by the bilinear transform (standard form).
    const double k = std::tan(std::numbers::pi * std::min(cutoff_hz / rate_hz, 0.45));
    const double norm = 1.0 / (1.0 + std::numbers::sqrt2 * k + k * k);
    const double b0 = norm, b1 = -2.0 * norm, b2 = norm;
    const double a1 = 2.0 * (k * k - 1.0) * norm, a2 = (1.0 - std::numbers::sqrt2 * k + k * k) * norm;
    return {.b0 = static_cast<float>(b0),
            .c1 = static_cast<float>(b1 - a1 * b0),
            .c2 = static_cast<float>(b2 - a2 * b0),
            .a1 = static_cast<float>(a1),
            .a2 = static_cast<float>(a2)};
}

FrontEnd::FrontEnd(double sample_rate_hz)
    : signals(signals_of(sample_rate_hz)),
      rate_hz_(sample_rate_hz),
      to_low_(low_factor(sample_rate_hz), kFilterHalfLength),
      to_mid_(kMidFactor, kFilterHalfLength),
      envelope_block_(envelope_block(sample_rate_hz)) {
    reset();
}

void FrontEnd::reset() {
    signals.each([](Timeline& t) { t.clear(); });
    to_low_.reset();
    to_mid_.reset();
    for (std::size_t b = 0; b < Signals::kEnvelopes; ++b) filter_[b] = high_pass(kEnvelopeFrom_hz[b], rate_hz_);
    in_block_ = 0;
    power_.fill(0.F);
    clip_run_ = 0;
    samples = not_finite_samples = clipped_samples = 0;
}

void FrontEnd::process(AudioView x) {
    in_parts(x, [this](AudioView part) {
        clean_and_count(part);
        samples += clean_.size();
        through(clean_);
    });
}

void FrontEnd::flush() {
    clean_.assign(to_low_.tail() + to_mid_.tail() * static_cast<std::size_t>(low_factor(rate_hz_)), 0.F);
    through(clean_);
}

void FrontEnd::through(AudioView x) {
    to_low_.process(x,
                    [this](float v) { to_mid_.process(AudioView(&v, 1), [this](float m) { signals.mid.push(m); }); });
    envelopes(x);
}

void FrontEnd::clean_and_count(AudioView x) {
    clean_.assign(x.begin(), x.end());
    // Magnitudes order as their bits do, and what is not finite lies above all: one comparison a sample.
    std::int32_t largest = 0;
    for (const float v : clean_) largest = std::max(largest, std::bit_cast<std::int32_t>(v) & 0x7fffffff);
    if (std::bit_cast<float>(largest) < kFullScale && clip_run_ == 0) return;
    for (float& v : clean_) {
        if (!std::isfinite(v)) {
            v = 0.F;
            ++not_finite_samples;
        }
        v = std::clamp(v, -kLoudest, kLoudest);
        if (std::abs(v) >= kFullScale) {
            ++clip_run_;
            clipped_samples += clip_run_ == 2 ? 2 : (clip_run_ > 2 ? 1 : 0);
        } else {
            clip_run_ = 0;
        }
    }
}

void FrontEnd::envelopes(AudioView x) {
    auto f0 = filter_[0];
    auto f1 = filter_[1];
    const auto step = [](HighPass& f, float v) {
        // Transposed direct form II with the output put into the states: the shortest way from one sample to the next.
        const float y = f.b0 * v + f.z1;
        const float z1 = (f.c1 * v + f.z2) - f.a1 * f.z1;
        f.z2 = f.c2 * v - f.a2 * f.z1;
        f.z1 = z1;
        return y;
    };
    for (std::size_t i = 0; i < x.size();) {
        const std::size_t n = std::min(x.size() - i, envelope_block_ - in_block_);
        float p0 = power_[0];
        float p1 = power_[1];
        for (std::size_t j = i; j < i + n; ++j) {
            const float y0 = step(f0, x[j]);
            const float y1 = step(f1, x[j]);
            p0 += y0 * y0;
            p1 += y1 * y1;
        }
        power_ = {p0, p1};
        i += n;
        in_block_ += n;
        if (in_block_ == envelope_block_) {
            for (std::size_t b = 0; b < Signals::kEnvelopes; ++b)
                signals.envelope[b].push(std::log(power_[b] / static_cast<float>(envelope_block_) + kSilence));
            power_.fill(0.F);
            in_block_ = 0;
        }
    }
    filter_ = {f0, f1};
}

}  // namespace idlehark
