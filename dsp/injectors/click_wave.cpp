#include "dsp/injectors/click_wave.hpp"

#include "dsp/dot.hpp"
#include "dsp/statistics.hpp"
#include "dsp/summit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace idlehark {

namespace {

constexpr int kReach = 10;     // steps about the time given
constexpr int kFineReach = 2;  // once they are read again where they belong
constexpr std::size_t kFewestQuiet = 8;
constexpr std::size_t kStarts = 4;
constexpr int kStartRounds = 3;      // with each start
constexpr int kRounds = 3;           // with the best, of all clicks
constexpr std::size_t kEarly = 100;  // clicks, to start with

using Wave = std::vector<std::complex<float>>;

/// A stretch of a wave, its parts by themselves.
struct Parts {
    std::vector<float> re, im;
    explicit Parts(const Wave& z) {
        for (const auto& v : z) {
            re.push_back(v.real());
            im.push_back(v.imag());
        }
    }
    explicit Parts(std::size_t n) : re(n), im(n) {}
    [[nodiscard]] double energy(std::size_t from, std::size_t n) const {
        return static_cast<double>(dot(re.data() + from, re.data() + from, n) +
                                   dot(im.data() + from, im.data() + from, n));
    }
};

struct Place {
    double shift = 0.0;                  // steps
    int whole = 0;                       // the nearest whole step
    std::complex<float> turn{1.F, 0.F};  // brings the click into the mean's phase
};

/// Clicks over the span that counts, with kReach steps to spare on each side, and their mean.
class Clicks {
   public:
    Clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t last)
        : sound_(sound),
          from_(std::max(first, std::size_t{kReach}) - kReach),
          span_(std::min(last, sound.size() - 1 - kReach) - from_ - kReach + 1),
          times_s_(times_s.begin(), times_s.end()),
          mean_(span_) {
        read();
    }

    /// The clicks in the order of how near they are to the middle one's energy.
    [[nodiscard]] std::vector<std::size_t> typical_first() const {
        std::vector<double> energy;
        for (const auto& w : waves_) energy.push_back(w.energy(kReach, span_));
        const double typical = stats::median(energy);
        std::vector<std::size_t> order(waves_.size());
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
            return std::fabs(energy[a] - typical) < std::fabs(energy[b] - typical);
        });
        return order;
    }
    void begin_with(std::size_t click) {
        std::copy_n(waves_[click].re.begin() + kReach, span_, mean_.re.begin());
        std::copy_n(waves_[click].im.begin() + kReach, span_, mean_.im.begin());
    }
    void set_mean(Parts mean) { mean_ = std::move(mean); }
    [[nodiscard]] const Parts& mean() const { return mean_; }
    [[nodiscard]] double mean_energy() const { return mean_.energy(0, span_); }
    [[nodiscard]] std::span<const Parts> early() const {
        return std::span{waves_}.first(std::min(waves_.size(), kEarly));
    }
    [[nodiscard]] const std::vector<double>& times_s() const { return times_s_; }

    /// Where a click of span_ + 2 kReach steps agrees with the mean best. `cost`: of a squared step, in correlated
    /// power.
    [[nodiscard]] Place place_of(const Parts& click, int reach, double cost) const {
        Place best;
        float most = -std::numeric_limits<float>::infinity();
        std::vector<float> power(index(2 * reach + 1));
        for (int shift = -reach; shift <= reach; ++shift) {
            const float* zr = click.re.data() + kReach + shift;
            const float* zi = click.im.data() + kReach + shift;
            const float re = dot(mean_.re.data(), zr, span_) + dot(mean_.im.data(), zi, span_);
            const float im = dot(mean_.re.data(), zi, span_) - dot(mean_.im.data(), zr, span_);
            const float all = re * re + im * im;
            const float p = all - static_cast<float>(cost * shift * shift);
            power[index(shift + reach)] = p;
            if (p <= most) continue;
            most = p;
            best = {static_cast<double>(shift), shift, std::complex<float>{re, -im} / std::sqrt(std::max(all, 1e-30F))};
        }
        const auto at = index(best.whole + reach);
        if (at > 0 && at + 1 < power.size())
            best.shift += summit(static_cast<double>(power[at - 1]), static_cast<double>(power[at]),
                                 static_cast<double>(power[at + 1]));
        return best;
    }
    /// The mean anew, of the clicks as they agree with the old one.
    std::vector<Place> average(int reach, double cost) { return average(waves_, reach, cost); }
    /// Of some of them.
    std::vector<Place> average(std::span<const Parts> some, int reach, double cost) {
        Parts sum(span_);
        std::vector<Place> places;
        const float share = 1.F / static_cast<float>(some.size());
        for (const auto& w : some) {
            places.push_back(place_of(w, reach, cost));
            const float* zr = w.re.data() + kReach + places.back().whole;
            const float* zi = w.im.data() + kReach + places.back().whole;
            const float re = share * places.back().turn.real();
            const float im = share * places.back().turn.imag();
            for (std::size_t i = 0; i < span_; ++i) {
                sum.re[i] += re * zr[i] - im * zi[i];
                sum.im[i] += re * zi[i] + im * zr[i];
            }
        }
        mean_ = std::move(sum);
        return places;
    }
    /// Moves the times to the places and reads again, unless it is the last time.
    void move(const std::vector<Place>& places, bool last) {
        for (std::size_t e = 0; e < places.size(); ++e) times_s_[e] += places[e].shift * ClickEnvelope::kStep_s;
        if (!last) read();
    }
    [[nodiscard]] Parts read_at(double time_s) const {
        Wave w(span_ + 2 * kReach);
        sound_.read(time_s, w, from_);
        return Parts{w};
    }

   private:
    void read() {
        waves_.clear();
        for (const double t : times_s_) waves_.push_back(read_at(t));
    }

    const ClickEnvelope& sound_;
    std::size_t from_, span_;  // of the values that are read about a time; the span without the spare steps
    std::vector<double> times_s_;
    Parts mean_;
    std::vector<Parts> waves_;
};

bool too_little(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t last) {
    return times_s.empty() || std::min(last, sound.size() - 1 - kReach) < std::max(first, std::size_t{kReach});
}

/// The mean that most of the clicks agree with, begun with one after the other.
void find_mean(Clicks& clicks, double cost) {
    const auto order = clicks.typical_first();
    Parts best{0};
    double most = -1.0;
    for (std::size_t k = 0; k < std::min(kStarts, order.size()); ++k) {
        clicks.begin_with(order[k]);
        for (int round = 0; round < kStartRounds; ++round)
            clicks.average(clicks.early(), kReach, cost * clicks.mean_energy());
        if (const double e = clicks.mean_energy(); e > most) {
            most = e;
            best = clicks.mean();
        }
    }
    clicks.set_mean(std::move(best));
    for (int round = 0; round < kRounds; ++round) clicks.average(kReach, cost * clicks.mean_energy());
}

}  // namespace

ClickWave average_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                         std::size_t last, std::span<const double> quiet_s) {
    ClickWave out;
    out.heard_s.assign(times_s.begin(), times_s.end());
    if (too_little(sound, times_s, first, last)) return out;
    Clicks clicks{sound, times_s, first, last};
    find_mean(clicks, 0.0);
    clicks.move(clicks.average(kReach, 0.0), false);
    const auto places = clicks.average(kFineReach, 0.0);

    // The whole of what is read, as the last places lay it.
    Wave sum(sound.size());
    Wave z(sound.size());
    for (std::size_t e = 0; e < places.size(); ++e) {
        sound.read(clicks.times_s()[e] + places[e].whole * ClickEnvelope::kStep_s, z);
        for (std::size_t i = 0; i < z.size(); ++i) sum[i] += places[e].turn * z[i];
    }
    for (const auto& v : sum) out.mean.emplace_back(std::complex<double>(v) / static_cast<double>(places.size()));
    clicks.move(places, true);
    out.heard_s = clicks.times_s();

    std::vector<double> errors;
    for (const double t : quiet_s) {
        auto w = clicks.read_at(t);
        for (std::size_t i = 0; i < clicks.mean().re.size(); ++i) {
            w.re[kReach + i] += clicks.mean().re[i];
            w.im[kReach + i] += clicks.mean().im[i];
        }
        errors.push_back(clicks.place_of(w, kReach, 0.0).shift * ClickEnvelope::kStep_s);
    }
    if (errors.size() >= kFewestQuiet) out.timing_error_s = stats::kMadToSd * stats::median_absolute_deviation(errors);
    return out;
}

std::vector<double> time_faint_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                                      std::size_t last, double usual_s, double noise) {
    if (too_little(sound, times_s, first, last)) return {times_s.begin(), times_s.end()};
    Clicks clicks{sound, times_s, first, last};
    const double per_step = 0.5 * std::pow(ClickEnvelope::kStep_s / usual_s, 2) * noise;
    find_mean(clicks, per_step);
    clicks.move(clicks.average(kReach, per_step * clicks.mean_energy()), false);
    clicks.move(clicks.average(kFineReach, 0.0), true);
    return clicks.times_s();
}

}  // namespace idlehark
