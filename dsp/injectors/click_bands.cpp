#include "dsp/injectors/click_bands.hpp"

#include "dsp/windows.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

namespace idlehark {

namespace {
constexpr double kHop_s = 0.5e-3;
constexpr double kCorner_hz = 1900.0;
constexpr double kLowest_hz = 1900.0;
constexpr double kHighest_hz = 18000.0;
constexpr double kHighestShare = 0.46;  // of the sample rate
constexpr std::size_t kMostBands = 20;
constexpr std::size_t kFloorSamples = 4000;  // frames looked at for a median
constexpr double kGatedFloor = 1e-6;         // of the mean power: where a noise gate leaves nothing between the clicks

/// Second-order high-pass at kCorner_hz by the bilinear transform.
class HighPass {
   public:
    HighPass(double rate_hz, double q) {
        const double w = 2.0 * std::numbers::pi * kCorner_hz / rate_hz;
        const double alpha = std::sin(w) / (2.0 * q);
        const double a0 = 1.0 + alpha;
        const double b = 0.5 * (1.0 + std::cos(w)) / a0;
        const double a1 = -2.0 * std::cos(w) / a0;
        const double a2 = (1.0 - alpha) / a0;
        b_ = static_cast<float>(b);
        c1_ = static_cast<float>(-2.0 * b - a1 * b);
        c2_ = static_cast<float>(b - a2 * b);
        a1_ = static_cast<float>(a1);
        a2_ = static_cast<float>(a2);
    }
    float operator()(float x) noexcept {
        // The output is put into the states: the shortest way from one sample to the next.
        const float y = b_ * x + z1_;
        const float z1 = (c1_ * x + z2_) - a1_ * z1_;
        z2_ = c2_ * x - a2_ * z1_;
        z1_ = z1;
        return y;
    }

   private:
    float b_, c1_, c2_, a1_, a2_, z1_ = 0.F, z2_ = 0.F;
};

/// What a pair of samples on both sides of a window's centre gives to each band.
struct Waves {
    std::array<float, kMostBands> even{}, odd{};
};

float finite(float v) { return std::isfinite(v) ? v : 0.F; }
}  // namespace

double between_bands(std::span<const double> centre_hz, std::span<const double> values, double hz) {
    const auto above = std::lower_bound(centre_hz.begin(), centre_hz.end(), hz) - centre_hz.begin();
    const auto i = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(above, 1, std::ssize(centre_hz) - 1));
    const double share = std::clamp((hz - centre_hz[i - 1]) / (centre_hz[i] - centre_hz[i - 1]), 0.0, 1.0);
    return std::lerp(values[i - 1], values[i], share);
}

ClickBands click_bands(AudioView x, double sample_rate_hz) {
    const auto half =
        std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(0.5 * ClickBands::kWindow_s * sample_rate_hz)));
    const std::size_t n = 2 * half;
    const auto window = hann_window(n);
    ClickBands out;
    out.hop_s = kHop_s;
    std::vector<std::size_t> bins;
    for (std::size_t b = 1; b < half && bins.size() < kMostBands; ++b) {
        const double f = static_cast<double>(b) * sample_rate_hz / static_cast<double>(n);
        if (f < kLowest_hz || f > std::min(kHighest_hz, kHighestShare * sample_rate_hz)) continue;
        bins.push_back(b);
        out.centre_hz.push_back(f);
    }
    const auto frames = static_cast<std::size_t>(static_cast<double>(x.size()) / sample_rate_hz / kHop_s);
    out.over_floor.resize(frames * bins.size());
    out.floor.assign(bins.size(), 1e-30);

    HighPass first{sample_rate_hz, 0.541196100146197};  // the two quality factors of a fourth-order Butterworth
    HighPass second{sample_rate_hz, 1.306562964876377};
    std::vector<float> sharp(x.size() + 2 * n, 0.F);  // n zeros in front
    for (std::size_t i = 0; i < x.size(); ++i) sharp[n + i] = second(first(finite(x[i])));
    // So few bins of so short a window are sooner summed up than transformed; both sides of the centre at once.
    std::vector<Waves> waves(half);
    for (std::size_t i = 0; i < half; ++i)
        for (std::size_t b = 0; b < bins.size(); ++b) {
            const double turn = 2.0 * std::numbers::pi * static_cast<double>(bins[b] * i % n) / static_cast<double>(n);
            const double gain = static_cast<double>(window[half + i]) * (i == 0 ? 0.5 : 1.0);
            waves[i].even[b] = static_cast<float>(gain * std::cos(turn));
            waves[i].odd[b] = static_cast<float>(gain * std::sin(turn));
        }
    for (std::size_t k = 0; k < frames; ++k) {
        const auto centre = static_cast<std::size_t>(std::lround(static_cast<double>(k) * kHop_s * sample_rate_hz));
        const float* at = sharp.data() + n + centre;
        Waves sum{};
        for (std::size_t i = 0; i < half; ++i) {
            const float both = at[i] + *(at - i);
            const float apart = at[i] - *(at - i);
            for (std::size_t b = 0; b < kMostBands; ++b) sum.even[b] += both * waves[i].even[b];
            for (std::size_t b = 0; b < kMostBands; ++b) sum.odd[b] += apart * waves[i].odd[b];
        }
        float* row = out.over_floor.data() + k * bins.size();
        for (std::size_t b = 0; b < bins.size(); ++b) row[b] = sum.even[b] * sum.even[b] + sum.odd[b] * sum.odd[b];
    }

    std::vector<float> some;
    std::vector<float> per_floor(bins.size());
    const std::size_t stride = std::max<std::size_t>(1, frames / kFloorSamples);
    for (std::size_t b = 0; b < bins.size() && frames > 0; ++b) {
        some.clear();
        for (std::size_t k = 0; k < frames; k += stride) some.push_back(out.over_floor[k * bins.size() + b]);
        const double mean = std::accumulate(some.begin(), some.end(), 0.0) / static_cast<double>(some.size());
        std::nth_element(some.begin(), some.begin() + std::ssize(some) / 2, some.end());
        out.floor[b] = std::max({static_cast<double>(some[some.size() / 2]), kGatedFloor * mean, 1e-30});
        per_floor[b] = static_cast<float>(1.0 / out.floor[b]);
    }
    for (std::size_t k = 0; k < frames; ++k)
        for (std::size_t b = 0; b < bins.size(); ++b) out.over_floor[k * bins.size() + b] *= per_floor[b];
    return out;
}

std::vector<float> click_strength(const ClickBands& bands, std::span<const double> weights) {
    double sum = 0.0;
    std::vector<float> w(bands.bands(), 1.F);
    for (std::size_t b = 0; b < w.size(); ++b) {
        if (!weights.empty()) w[b] = static_cast<float>(weights[b]);
        sum += static_cast<double>(w[b]);
    }
    for (auto& v : w) v = static_cast<float>(static_cast<double>(v) / std::max(sum, 1e-30));
    std::vector<float> strength(bands.frames());
    for (std::size_t k = 0; k < strength.size(); ++k) {
        float level = 0.F;
        const auto row = bands.frame(k);
        for (std::size_t b = 0; b < w.size(); ++b) level += w[b] * row[b];
        strength[k] = std::log(1.F + level);
    }
    return strength;
}

}  // namespace idlehark
