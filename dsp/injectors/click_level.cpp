#include "dsp/injectors/click_level.hpp"

#include "dsp/dot.hpp"

#include <algorithm>
#include <numbers>
#include <numeric>

namespace idlehark {

namespace {

constexpr double kBeforeClick_s = 0.5e-3;
constexpr double kAfterClick_s = 2e-3;
constexpr double kClearScatters = 3.0;
constexpr double kMostlyCommon = 0.7;  // below it some of what is common may be the engine's own sound
constexpr double kLeastWeight = 0.1;   // of a band whose share of the waveform is taken: what leaks into others is not
constexpr double kFine_hz = 250.0;     // between the frequencies at which the waveform is looked at
constexpr double kBandSide_hz = 2000.0;  // that a band hears

/// Power at a frequency (off the envelope's centre) of a stretch, faded at both ends.
class PowerAt {
   public:
    static constexpr std::size_t kFade = 20;  // 1 ms

    explicit PowerAt(std::size_t count) : fade_(count, 1.0F), turn_(count) {
        for (std::size_t i = 0; i < std::min(kFade, count / 2); ++i) {
            const double share = (static_cast<double>(i) + 0.5) / static_cast<double>(kFade);
            fade_[i] = fade_[count - 1 - i] = static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * share));
        }
    }
    void tune(double off_hz) {
        for (std::size_t i = 0; i < turn_.size(); ++i) {
            const double angle = -2.0 * std::numbers::pi * off_hz * ClickEnvelope::kStep_s * static_cast<double>(i);
            turn_.re[i] = fade_[i] * static_cast<float>(std::cos(angle));
            turn_.im[i] = fade_[i] * static_cast<float>(std::sin(angle));
        }
    }
    [[nodiscard]] double of(const Wave& w, std::size_t first) const {
        const auto n = turn_.size();
        const float* re = w.re.data() + first;
        const float* im = w.im.data() + first;
        const float real = dot(turn_.re.data(), re, n) - dot(turn_.im.data(), im, n);
        const float imaginary = dot(turn_.re.data(), im, n) + dot(turn_.im.data(), re, n);
        return static_cast<double>(real * real + imaginary * imaginary) * ClickEnvelope::kStep_s *
               ClickEnvelope::kStep_s;
    }

   private:
    std::vector<float> fade_;
    Wave turn_;
};

/// Transform of a band's Hann window, s.
double band_response(double off_hz) {
    const double u = std::fabs(off_hz) * ClickBands::kWindow_s;
    if (u < 1e-9) return 0.5 * ClickBands::kWindow_s;
    if (std::fabs(u - 1.0) < 1e-9) return 0.25 * ClickBands::kWindow_s;
    return 0.5 * ClickBands::kWindow_s * std::sin(std::numbers::pi * u) / (std::numbers::pi * u) / (1.0 - u * u);
}

/// Energy by band of what one click of the common waveform has. Empty where nothing of the mean lies beside the clicks.
std::vector<double> energy_in_common(const ClickBands& bands, std::span<const double> weights,
                                     const ClickEnvelope& sound, const ClickWave& wave, double sample_rate_hz) {
    const std::size_t first = wave.first() - std::min(wave.first(), PowerAt::kFade);
    const std::size_t count = std::min(wave.end() + PowerAt::kFade, wave.mean.size()) - first;
    std::vector<std::size_t> beside;
    for (std::size_t from = first % (count / 2); from + count <= wave.mean.size(); from += count / 2)
        if (from + count <= first || from >= first + count) beside.push_back(from);
    if (beside.empty()) return {};

    const auto gain = band_gains(bands, weights);
    std::vector<double> energy(bands.bands(), 0.0);
    std::vector<double> rest(bands.bands(), 0.0);
    const double band_hz = bands.centre_hz[1] - bands.centre_hz[0];
    const double low_hz = bands.centre_hz.front() - 0.5 * band_hz;
    const double high_hz = bands.centre_hz.back() + 0.5 * band_hz;
    PowerAt power{count};
    for (double hz = low_hz + 0.5 * kFine_hz; hz < high_hz; hz += kFine_hz) {
        if (between_bands(bands.centre_hz, weights, hz) < kLeastWeight) continue;
        const double per_gain = 1.0 / between_bands(bands.centre_hz, gain, hz);
        power.tune(hz - sound.centre_hz());
        double off = 0.0;
        for (const auto from : beside) off += power.of(wave.mean, from) / static_cast<double>(beside.size());
        const double over = power.of(wave.mean, first) - off;
        for (std::size_t b = 0; b < energy.size(); ++b) {
            if (std::fabs(hz - bands.centre_hz[b]) >= kBandSide_hz) continue;
            const double h = sample_rate_hz * band_response(hz - bands.centre_hz[b]);
            energy[b] += over * per_gain * h * h * kFine_hz;
            rest[b] += off * per_gain * h * h * kFine_hz;
        }
    }
    for (std::size_t b = 0; b < energy.size(); ++b)
        if (energy[b] < rest[b]) energy[b] = 0.0;
    return energy;
}

/// The same as the bands have it: mean power of the pair's stretch less that in the quiet.
struct InBands {
    std::vector<double> energy;
    double clicks = 0.0;  // mean power, where it stands out
    double noise = 0.0;   // of these bands
};

InBands energy_in_bands(const ClickBands& bands, const ClickEvents& events, const ClickPair& pair,
                        std::span<const double> quiet_s) {
    const double first_s = std::isfinite(pair.open_s) ? pair.open_s : 0.0;
    const double second_s = std::isfinite(pair.close_s) ? pair.close_s : first_s;
    InBands out{std::vector<double>(bands.bands(), 0.0)};
    std::vector<double> loud(bands.bands(), 0.0);
    std::vector<double> still(bands.bands(), 0.0);
    std::vector<double> square(bands.bands(), 0.0);
    double loud_count = 0.0;
    double heard = 0.0;
    double still_count = 0.0;
    const auto each = [&](double t, auto&& use) {
        const double low = std::max(0.0, std::round((t + first_s - kBeforeClick_s) / bands.hop_s));
        const double high = std::min(std::round((t + second_s + kAfterClick_s) / bands.hop_s),
                                     static_cast<double>(bands.frames()) - 1.0);
        for (double k = low; k <= high; ++k) {
            const double after_s = k * bands.hop_s - t;
            if (after_s > first_s + kAfterClick_s && after_s < second_s - kBeforeClick_s) continue;  // between the two
            use(bands.frame(static_cast<std::size_t>(k)));
        }
    };
    for (const double t : events.heard_s) {
        if (!std::isfinite(t)) continue;
        heard += 1.0;
        each(t, [&](std::span<const float> row) {
            for (std::size_t b = 0; b < loud.size(); ++b) loud[b] += static_cast<double>(row[b]);
            loud_count += 1.0;
        });
    }
    for (const double t : quiet_s)
        each(t, [&](std::span<const float> row) {
            for (std::size_t b = 0; b < still.size(); ++b) {
                still[b] += static_cast<double>(row[b]);
                square[b] += static_cast<double>(row[b]) * static_cast<double>(row[b]);
            }
            still_count += 1.0;
        });
    if (loud_count < 1.0 || still_count < 2.0) return out;
    for (std::size_t b = 0; b < loud.size(); ++b) {
        const double mean = still[b] / still_count;
        const double sd = std::sqrt(std::max(square[b] / still_count - mean * mean, 0.0));
        const double over = loud[b] / loud_count - mean;
        // Two: neighbouring frames overlap by half.
        if (over < kClearScatters * sd * std::sqrt(2.0 / loud_count)) continue;
        out.energy[b] = over * bands.floor[b] * loud_count / heard * bands.hop_s;  // of the pair, whatever the stretch
        out.clicks += over * bands.floor[b];
        out.noise += mean * bands.floor[b];
    }
    return out;
}

}  // namespace

std::vector<double> band_gains(const ClickBands& bands, std::span<const double> weights) {
    std::vector<double> gain;
    for (std::size_t b = 0; b < weights.size(); ++b) gain.push_back(weights[b] / bands.floor[b]);
    return gain;
}

ClickLevel click_level(const ClickBands& bands, std::span<const double> weights, const ClickEnvelope& sound,
                       const ClickEvents& events, const ClickPair& pair, std::span<const double> quiet_s, bool alone,
                       double sample_rate_hz) {
    ClickLevel out;
    auto heard = energy_in_bands(bands, events, pair, quiet_s);
    if (heard.clicks > 0.0) out.clarity_db = 10.0 * std::log10(heard.clicks / std::max(heard.noise, 1e-300));
    if (alone && events.alike)
        if (const auto common = energy_in_common(bands, weights, sound, events.wave, sample_rate_hz); !common.empty()) {
            const bool mostly = events.common_share > kMostlyCommon;
            for (std::size_t b = 0; b < common.size(); ++b)
                heard.energy[b] = mostly ? common[b] : std::min(common[b], heard.energy[b]);
        }
    const double sum = std::accumulate(heard.energy.begin(), heard.energy.end(), 0.0);
    if (sum <= 0.0) return out;
    out.level_db = 10.0 * std::log10(sum);
    out.energy = std::move(heard.energy);
    return out;
}

}  // namespace idlehark
