#include "dsp/injectors/click_level.hpp"

#include "dsp/dot.hpp"
#include "dsp/turned.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <complex>

namespace idlehark {

namespace {

constexpr double kBeforeClick_s = 0.5e-3;
constexpr double kAfterClick_s = 2e-3;
constexpr double kClearScatters = 3.0;
constexpr double kMostlyCommon = 0.7;  // below it some of what is common may be the engine's own sound
constexpr double kLeastWeight = 0.1;   // of a band whose share of the waveform is taken: what leaks into others is not
// Between the frequencies at which the waveform is looked at: one over 20 ms, as long as it lasts; wider, and opening
// and closing would add up where they should not.
constexpr double kFine_hz = 50.0;
constexpr double kBandSide_hz = 2000.0;  // that a band hears

/// Power at a frequency (off the envelope's centre) of a stretch, faded at both ends.
class PowerAt {
   public:
    static constexpr std::size_t kFade = 20;  // 1 ms

    explicit PowerAt(std::size_t count) : fade_(faded_window(count, kFade)), turn_(count) {}
    /// What steady noise gives, against other stretches.
    [[nodiscard]] double weight() const { return static_cast<double>(dot(fade_.data(), fade_.data(), fade_.size())); }
    void tune(double off_hz) {
        const auto step = turned(off_hz * ClickEnvelope::kStep_s);
        std::complex<double> turn = 1.0;
        for (std::size_t i = 0; i < turn_.size(); ++i, turn *= step) {
            turn_.re[i] = fade_[i] * static_cast<float>(turn.real());
            turn_.im[i] = fade_[i] * static_cast<float>(turn.imag());
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

/// Energy by band of what one click of the common waveform has; NaN where more of it is left beside the clicks than
/// they have. Empty where too little of the mean lies beside them.
std::vector<double> energy_in_common(const ClickBands& bands, std::span<const double> weights,
                                     const ClickEnvelope& sound, const ClickWave& wave, double sample_rate_hz) {
    const std::size_t first = wave.first() - std::min(wave.first(), PowerAt::kFade);
    const std::size_t count = std::min(wave.end() + PowerAt::kFade, wave.mean.size()) - first;
    const std::size_t end = first + count;
    const std::size_t stretch = std::min(count, std::max(first, wave.mean.size() - end));
    if (stretch < 4 * PowerAt::kFade) return {};
    std::vector<std::size_t> beside;
    for (std::size_t from = 0; from + stretch <= wave.mean.size(); from += stretch / 4)
        if (from + stretch <= first || from >= end) beside.push_back(from);

    const auto gain = band_gains(bands, weights);
    std::vector<double> energy(bands.bands(), 0.0);
    std::vector<double> rest(bands.bands(), 0.0);
    const auto [low_hz, high_hz] = bands.range();
    PowerAt click{count};
    PowerAt noise{stretch};
    const double noise_share = click.weight() / noise.weight() / static_cast<double>(beside.size());
    for (double hz = low_hz + 0.5 * kFine_hz; hz < high_hz; hz += kFine_hz) {
        if (between_bands(bands.centre_hz, weights, hz) < kLeastWeight) continue;
        const double per_gain = 1.0 / between_bands(bands.centre_hz, gain, hz);
        click.tune(hz - sound.centre_hz());
        noise.tune(hz - sound.centre_hz());
        double off = 0.0;
        for (const auto from : beside) off += noise_share * noise.of(wave.mean, from);
        const double over = click.of(wave.mean, first) - off;
        for (std::size_t b = 0; b < energy.size(); ++b) {
            if (std::fabs(hz - bands.centre_hz[b]) >= kBandSide_hz) continue;
            const double h = sample_rate_hz * band_response(hz - bands.centre_hz[b]);
            energy[b] += over * per_gain * h * h * kFine_hz;
            rest[b] += off * per_gain * h * h * kFine_hz;
        }
    }
    for (std::size_t b = 0; b < energy.size(); ++b)
        if (energy[b] < rest[b]) energy[b] = std::nan("");
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
    const auto level_db = [](std::span<const double> energy) {
        double sum = 0.0;
        for (const double e : energy) sum += std::isfinite(e) ? e : 0.0;
        return 10.0 * std::log10(sum);
    };
    out.power_level_db = level_db(heard.energy);
    if (heard.clicks > 0.0) out.clarity_db = 10.0 * std::log10(heard.clicks / std::max(heard.noise, 1e-300));
    if (alone && events.alike)
        // A band that has nothing over the noise by itself (0) does not bound what the waveform has in it.
        if (const auto common = energy_in_common(bands, weights, sound, events.wave, sample_rate_hz); !common.empty()) {
            const bool mostly = events.common_share > kMostlyCommon;
            for (std::size_t b = 0; b < common.size(); ++b)
                heard.energy[b] = mostly || heard.energy[b] <= 0.0 ? common[b] : std::fmin(common[b], heard.energy[b]);
        }
    const double sum_db = level_db(heard.energy);
    if (!std::isfinite(sum_db)) return out;
    out.level_db = sum_db;
    out.energy = std::move(heard.energy);
    return out;
}

}  // namespace idlehark
