#include "dsp/injectors/click_wave.hpp"

#include "dsp/dot.hpp"
#include "dsp/statistics.hpp"
#include "dsp/summit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>

namespace idlehark {

namespace {

constexpr int kReach = 10;     // steps about the time given
constexpr int kFineReach = 2;  // once they are read again where they belong
constexpr std::size_t kFewestQuiet = 8;
constexpr std::size_t kStarts = 4;  // means to begin with, a power of two
constexpr std::size_t kEarly = 25;  // clicks for each of them
constexpr int kRounds = 2;          // with the best, of all clicks

double energy(const Wave& w, std::size_t from, std::size_t n) {
    return static_cast<double>(dot(w.re.data() + from, w.re.data() + from, n) +
                               dot(w.im.data() + from, w.im.data() + from, n));
}

struct Place {
    double shift = 0.0;        // steps
    int whole = 0;             // the nearest whole step
    float re = 1.F, im = 0.F;  // brings the click into the mean's phase
    double power = 0.0;        // correlated
};

/// Where a click agrees best with the `n` values of the mean from `from` on, within `reach` of its value `start`.
/// `cost`: of a squared step, in correlated power.
Place place_of(const Wave& mean, std::size_t from, std::size_t n, const Wave& click, std::size_t start, int reach,
               double cost) {
    Place best;
    float most = -std::numeric_limits<float>::infinity();
    std::array<float, 2 * kReach + 1> power{};
    const float* mr = mean.re.data() + from;
    const float* mi = mean.im.data() + from;
    for (int shift = -reach; shift <= reach; ++shift) {
        const float* zr = click.re.data() + start + shift;
        const float* zi = click.im.data() + start + shift;
        const float re = dot(mr, zr, n) + dot(mi, zi, n);
        const float im = dot(mr, zi, n) - dot(mi, zr, n);
        const float all = re * re + im * im;
        const float p = all - static_cast<float>(cost * shift * shift);
        power[index(shift + reach)] = p;
        if (p <= most) continue;
        most = p;
        const float size = std::sqrt(std::max(all, 1e-30F));
        best = {static_cast<double>(shift), shift, re / size, -im / size, static_cast<double>(all)};
    }
    if (std::abs(best.whole) < reach) {
        const auto at = index(best.whole + reach);
        best.shift += summit(static_cast<double>(power[at - 1]), static_cast<double>(power[at]),
                             static_cast<double>(power[at + 1]));
    }
    return best;
}

/// Adds a `share` of a click, from `from` on, in the mean's phase.
void add(Wave& sum, const Wave& click, std::size_t from, const Place& place, float share) {
    const float* zr = click.re.data() + from;
    const float* zi = click.im.data() + from;
    const float re = share * place.re;
    const float im = share * place.im;
    for (std::size_t i = 0; i < sum.size(); ++i) {
        sum.re[i] += re * zr[i] - im * zi[i];
        sum.im[i] += re * zi[i] + im * zr[i];
    }
}

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

    /// The mean that most of the clicks agree with, begun with one after the other: round by round the better half goes
    /// on, with twice the clicks.
    void find_mean(double cost) {
        struct Start {
            double energy;
            Wave mean;
        };
        std::vector<Start> starts;
        for (const std::size_t e : typical_first()) {
            if (starts.size() == kStarts) break;
            auto& mean = starts.emplace_back(Start{0.0, Wave{span_}}).mean;
            std::copy_n(waves_[e].re.begin() + kReach, span_, mean.re.begin());
            std::copy_n(waves_[e].im.begin() + kReach, span_, mean.im.begin());
        }
        for (std::size_t some = kEarly;; some *= 2) {
            for (auto& start : starts) {
                std::swap(mean_, start.mean);
                average(std::span{waves_}.first(std::min(waves_.size(), some)), kReach, cost * mean_energy());
                start.energy = mean_energy();
                std::swap(mean_, start.mean);
            }
            std::stable_sort(starts.begin(), starts.end(),
                             [](const Start& a, const Start& b) { return a.energy > b.energy; });
            if (starts.size() == 1) break;
            starts.erase(starts.begin() + std::ssize(starts) / 2, starts.end());
        }
        mean_ = std::move(starts.front().mean);
        for (int round = 0; round < kRounds; ++round) average(kReach, cost * mean_energy());
    }
    /// The mean anew, of the clicks as they agree with the old one.
    std::vector<Place> average(int reach, double cost) { return average(waves_, reach, cost); }
    /// Moves the times to the places.
    void move(const std::vector<Place>& places) {
        for (std::size_t e = 0; e < places.size(); ++e) times_s_[e] += places[e].shift * ClickEnvelope::kStep_s;
    }
    void read() {
        waves_.clear();
        for (const double t : times_s_) waves_.push_back(sound_.read(t, from_, span_ + 2 * kReach));
    }
    [[nodiscard]] const std::vector<double>& times_s() const { return times_s_; }
    [[nodiscard]] std::size_t first() const { return from_ + kReach; }
    [[nodiscard]] std::size_t count() const { return span_; }
    [[nodiscard]] double mean_energy() const { return energy(mean_, 0, span_); }

   private:
    /// The clicks in the order of how near they are to the middle one's energy.
    [[nodiscard]] std::vector<std::size_t> typical_first() const {
        std::vector<double> loud;
        for (const auto& w : waves_) loud.push_back(energy(w, kReach, span_));
        const double typical = stats::median(loud);
        std::vector<std::size_t> order(waves_.size());
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
            return std::fabs(loud[a] - typical) < std::fabs(loud[b] - typical);
        });
        return order;
    }
    std::vector<Place> average(std::span<const Wave> some, int reach, double cost) {
        Wave sum{span_};
        std::vector<Place> places;
        const float share = 1.F / static_cast<float>(some.size());
        for (const auto& w : some) {
            places.push_back(place_of(mean_, 0, span_, w, kReach, reach, cost));
            add(sum, w, index(kReach + places.back().whole), places.back(), share);
        }
        mean_ = std::move(sum);
        return places;
    }

    const ClickEnvelope& sound_;
    std::size_t from_, span_;  // of the values that are read about a time; the span without the spare steps
    std::vector<double> times_s_;
    Wave mean_;
    std::vector<Wave> waves_;
};

bool too_little(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t last) {
    return times_s.empty() || std::min(last, sound.size() - 1 - kReach) < std::max(first, std::size_t{kReach});
}

}  // namespace

ClickWave average_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                         std::size_t last) {
    ClickWave out;
    if (too_little(sound, times_s, first, last)) return out;
    Clicks clicks{sound, times_s, first, last};
    clicks.find_mean(0.0);
    clicks.move(clicks.average(kReach, 0.0));
    clicks.read();
    const double before = clicks.mean_energy();
    const auto places = clicks.average(kFineReach, 0.0);

    // The whole of what is read, as the last places lay it.
    out.first = clicks.first();
    out.count = clicks.count();
    out.mean = Wave{sound.size()};
    const float share = 1.F / static_cast<float>(places.size());
    for (std::size_t e = 0; e < places.size(); ++e)
        add(out.mean, sound.read(clicks.times_s()[e] + places[e].whole * ClickEnvelope::kStep_s), 0, places[e], share);
    clicks.move(places);
    for (std::size_t e = 0; e < places.size(); ++e)
        out.clicks.push_back({clicks.times_s()[e], places[e].power / (before * before)});
    return out;
}

ClickPlace place_click(const ClickEnvelope& sound, const ClickWave& wave, double time_s) {
    const auto click = sound.read(time_s, wave.first - kReach, wave.count + 2 * kReach);
    const auto place = place_of(wave.mean, wave.first, wave.count, click, kReach, kReach, 0.0);
    const double whole = energy(wave.mean, wave.first, wave.count);
    return {time_s + place.shift * ClickEnvelope::kStep_s, place.power / (whole * whole)};
}

double timing_error_s(const ClickWave& wave, std::span<const Wave> quiet) {
    if (quiet.size() < kFewestQuiet) return 0.0;
    std::vector<double> errors;
    for (auto laid : quiet) {
        for (std::size_t i = wave.first; i < wave.first + wave.count; ++i) {
            laid.re[i] += wave.mean.re[i];
            laid.im[i] += wave.mean.im[i];
        }
        errors.push_back(place_of(wave.mean, wave.first, wave.count, laid, wave.first, kReach, 0.0).shift);
    }
    return ClickEnvelope::kStep_s * stats::kMadToSd * stats::median_absolute_deviation(errors);
}

double coherence(const ClickWave& a, const ClickWave& b) {
    const auto place = place_of(a.mean, a.first, a.count, b.mean, b.first, kReach, 0.0);
    return place.power /
           std::max(energy(a.mean, a.first, a.count) *
                        energy(b.mean, index(static_cast<std::ptrdiff_t>(b.first) + place.whole), b.count),
                    1e-300);
}

std::vector<double> time_faint_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                                      std::size_t last, double usual_s, double noise) {
    if (too_little(sound, times_s, first, last)) return {times_s.begin(), times_s.end()};
    Clicks clicks{sound, times_s, first, last};
    const double per_step = 0.5 * std::pow(ClickEnvelope::kStep_s / usual_s, 2) * noise;
    clicks.find_mean(per_step);
    clicks.move(clicks.average(kReach, per_step * clicks.mean_energy()));
    clicks.read();
    clicks.move(clicks.average(kFineReach, 0.0));
    return clicks.times_s();
}

}  // namespace idlehark
