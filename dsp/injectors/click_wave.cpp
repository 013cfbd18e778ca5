#include "dsp/injectors/click_wave.hpp"

#include "dsp/statistics.hpp"
#include "dsp/summit.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {

constexpr int kReach = 10;     // steps about the time given
constexpr int kRounds = 3;     // with the clicks as first read
constexpr int kFineReach = 2;  // once they are read again where they belong
constexpr std::size_t kFewestQuiet = 8;

using Wave = std::vector<std::complex<float>>;

struct Place {
    double shift = 0.0;                  // steps
    int whole = 0;                       // the nearest whole step
    std::complex<float> turn{1.F, 0.F};  // brings the click into the mean's phase
};

class Mean {
   public:
    Mean(std::size_t first, std::size_t last) : first_(first), last_(last) {}
    void set(Wave wave) { wave_ = std::move(wave); }
    [[nodiscard]] const Wave& wave() const { return wave_; }

    [[nodiscard]] Place place_of(const Wave& click, int reach) const {
        Place best;
        float most = -1.F;
        std::vector<float> power(static_cast<std::size_t>(2 * reach + 1));
        for (int shift = -reach; shift <= reach; ++shift) {
            float re = 0.F;
            float im = 0.F;
            const auto* z = click.data() + shift;  // the caller's span leaves room for the reach
            for (std::size_t i = first_; i <= last_; ++i) {
                re += wave_[i].real() * z[i].real() + wave_[i].imag() * z[i].imag();
                im += wave_[i].real() * z[i].imag() - wave_[i].imag() * z[i].real();
            }
            const float p = re * re + im * im;
            power[static_cast<std::size_t>(shift + reach)] = p;
            if (p <= most) continue;
            most = p;
            best = {static_cast<double>(shift), shift, std::complex<float>{re, -im} / std::sqrt(std::max(p, 1e-30F))};
        }
        const auto at = static_cast<std::size_t>(best.whole + reach);
        if (at > 0 && at + 1 < power.size()) best.shift += summit(power[at - 1], power[at], power[at + 1]);
        return best;
    }

   private:
    std::size_t first_, last_;
    Wave wave_;
};

}  // namespace

ClickWave average_clicks(ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t last,
                         std::span<const double> quiet_s) {
    ClickWave out;
    out.heard_s.assign(times_s.begin(), times_s.end());
    const std::size_t size = sound.size();
    if (times_s.empty() || first > last) return out;
    const auto reach = static_cast<std::size_t>(kReach);
    Mean mean{std::max(first, reach), std::min(last, size - 1 - reach)};
    std::vector<Wave> clicks(times_s.size(), Wave(size));
    double typical = 0.0;
    std::vector<double> energy;
    const auto read = [&] {
        for (std::size_t e = 0; e < clicks.size(); ++e) sound.read(out.heard_s[e], clicks[e]);
    };
    read();
    for (const auto& c : clicks) {
        double sum = 0.0;
        for (std::size_t i = first; i <= last; ++i) sum += static_cast<double>(std::norm(c[i]));
        energy.push_back(sum);
    }
    typical = stats::median(energy);
    std::size_t start = 0;
    for (std::size_t e = 0; e < energy.size(); ++e)
        if (std::fabs(energy[e] - typical) < std::fabs(energy[start] - typical)) start = e;
    mean.set(clicks[start]);

    for (int round = 0; round <= kRounds; ++round) {
        const bool fine = round == kRounds;
        Wave sum(size);
        for (std::size_t e = 0; e < clicks.size(); ++e) {
            const auto place = mean.place_of(clicks[e], fine ? kFineReach : kReach);
            if (fine || round + 1 == kRounds) out.heard_s[e] += place.shift * ClickEnvelope::kStep_s;
            for (std::size_t i = reach; i + reach < size; ++i)
                sum[i] +=
                    place.turn * clicks[e][static_cast<std::size_t>(static_cast<std::ptrdiff_t>(i) + place.whole)];
        }
        for (auto& v : sum) v /= static_cast<float>(clicks.size());
        mean.set(std::move(sum));
        if (round + 1 == kRounds) read();
    }
    for (const auto& v : mean.wave()) out.mean.emplace_back(v);

    std::vector<double> errors;
    Wave z(size);
    for (const double t : quiet_s) {
        sound.read(t, z);
        for (std::size_t i = 0; i < size; ++i) z[i] += mean.wave()[i];
        errors.push_back(mean.place_of(z, kReach).shift * ClickEnvelope::kStep_s);
    }
    if (errors.size() >= kFewestQuiet) out.timing_error_s = stats::kMadToSd * stats::median_absolute_deviation(errors);
    return out;
}

}  // namespace idlehark
