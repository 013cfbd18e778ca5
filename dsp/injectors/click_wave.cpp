#include "dsp/injectors/click_wave.hpp"

#include "dsp/dot.hpp"
#include "dsp/statistics.hpp"
#include "dsp/summit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace idlehark {

namespace {

constexpr int kReach = 10;     // steps about the time given
constexpr int kFineReach = 4;  // once they are read again where they belong; the closing ones may be further off
constexpr std::size_t kFewestQuiet = 8;
constexpr std::size_t kStarts = 4;         // means to begin with, a power of two
constexpr std::size_t kEarly = 25;         // clicks for each of them
constexpr int kRounds = 2;                 // with the best, of all clicks
constexpr std::size_t kShortestPart = 14;  // 0.7 ms
constexpr double kUsualStretch_s = 40e-6;  // what the closing click is off by against the opening one

double energy(const Wave& w, std::size_t from, std::size_t n) {
    return static_cast<double>(dot(w.re.data() + from, w.re.data() + from, n) +
                               dot(w.im.data() + from, w.im.data() + from, n));
}

struct Place {
    double shift = 0.0;        // steps
    int whole = 0;             // the nearest whole step
    float re = 1.F, im = 0.F;  // brings the click into the mean's phase
    double power = 0.0;        // correlated, over `energy`
    double energy = 0.0;       // of that part of the mean
};

/// One place for each part of the mean; where there is one part, the second weighs nothing.
using Places = std::array<Place, 2>;

using ByShift = std::array<float, 2 * kReach + 1>;

/// How a part of a click agrees with that of the mean, shift by shift.
struct Likeness {
    ByShift re{}, im{};  // of the correlation
    ByShift score{};     // correlated power over the mean's energy: likelihood, in units of the noise's power
    double mean_energy;  // that energy
    int reach;

    /// `start`: of the click's values the one that lies on the part's first.
    Likeness(const Wave& mean, ClickPart part, const Wave& click, std::size_t start, int within)
        : mean_energy(std::max(energy(mean, part.first, part.count), 1e-30)), reach(within) {
        const float* mr = mean.re.data() + part.first;
        const float* mi = mean.im.data() + part.first;
        for (int shift = -reach; shift <= reach; ++shift) {
            const float* zr = click.re.data() + start + shift;
            const float* zi = click.im.data() + start + shift;
            const auto k = index(shift + reach);
            re[k] = dot(mr, zr, part.count) + dot(mi, zi, part.count);
            im[k] = dot(mr, zi, part.count) - dot(mi, zr, part.count);
            score[k] = (re[k] * re[k] + im[k] * im[k]) / static_cast<float>(mean_energy);
        }
    }
    /// The place with the highest of `scores`, which allow for more than this part.
    [[nodiscard]] Place at_top(const ByShift& scores) const {
        const auto n = static_cast<std::ptrdiff_t>(2 * reach + 1);
        const auto k = std::max_element(scores.begin(), scores.begin() + n) - scores.begin();
        const auto at = index(k);
        const float size = std::sqrt(std::max(re[at] * re[at] + im[at] * im[at], 1e-30F));
        Place out{static_cast<double>(k - reach),
                  static_cast<int>(k) - reach,
                  re[at] / size,
                  -im[at] / size,
                  static_cast<double>(score[at]),
                  mean_energy};
        if (k > 0 && k + 1 < n)
            out.shift += summit(static_cast<double>(scores[at - 1]), static_cast<double>(scores[at]),
                                static_cast<double>(scores[at + 1]));
        return out;
    }
};

/// What shifts cost, in the units of Likeness::score, per squared step.
struct Cost {
    double far = 0.0;      // of the first part's shift
    double stretch = 0.0;  // of the second part's against the first's

    /// Off by so much, where the noise has such a power.
    static double of(double usual_s, double noise) {
        return 0.5 * noise * std::pow(ClickEnvelope::kStep_s / usual_s, 2);
    }
};

/// Where a click agrees best with the mean, part by part, within `reach`. `start`: of the click's values the one that
/// lies on the mean's value `from`.
Places places_of(const Wave& mean, const std::vector<ClickPart>& parts, const Wave& click, std::size_t from,
                 std::size_t start, int reach, Cost cost) {
    const auto squared = [](double per_step, int by) { return static_cast<float>(per_step * by * by); };
    const Likeness first{mean, parts[0], click, parts[0].first - from + start, reach};
    auto scores = first.score;
    for (int shift = -reach; shift <= reach; ++shift) scores[index(shift + reach)] -= squared(cost.far, shift);
    if (parts.size() == 1) return {first.at_top(scores)};
    const Likeness second{mean, parts[1], click, parts[1].first - from + start, reach};
    const auto beside = [&](int shift) {
        auto other = second.score;
        for (int k = -reach; k <= reach; ++k) other[index(k + reach)] -= squared(cost.stretch, k - shift);
        return other;
    };
    for (int shift = -reach; shift <= reach; ++shift) {
        const auto other = beside(shift);
        scores[index(shift + reach)] += *std::max_element(other.begin(), other.begin() + 2 * reach + 1);
    }
    const auto opening = first.at_top(scores);
    return {opening, second.at_top(beside(opening.whole))};
}

/// Adds a `share` of `n` values of a click, from `start` on, to those of the sum from `from` on, in the mean's phase.
void add(Wave& sum, std::size_t from, std::size_t n, const Wave& click, std::size_t start, const Place& place,
         float share) {
    const float* zr = click.re.data() + start;
    const float* zi = click.im.data() + start;
    const float re = share * place.re;
    const float im = share * place.im;
    for (std::size_t i = 0; i < n; ++i) {
        sum.re[from + i] += re * zr[i] - im * zi[i];
        sum.im[from + i] += re * zi[i] + im * zr[i];
    }
}

/// The power of what a click shares with the mean; 1 for the mean itself.
double strength_of(const Places& p) { return (p[0].power + p[1].power) / (p[0].energy + p[1].energy); }

/// How far the parts are off together, steps: each counts by its energy.
double shift_of(const Places& p) {
    return (p[0].energy * p[0].shift + p[1].energy * p[1].shift) / (p[0].energy + p[1].energy);
}

/// What the places say of a click read about a time.
ClickPlace click_at(double time_s, const Places& places, std::size_t parts) {
    const auto moved_s = [&](double steps) { return time_s + steps * ClickEnvelope::kStep_s; };
    return {
        moved_s(shift_of(places)), strength_of(places), {moved_s(places[0].shift), moved_s(places[parts - 1].shift)}};
}

/// Clicks over the span that counts, with kReach steps to spare on each side, and their mean.
class Clicks {
   public:
    /// `closing`: index from which on the second part lies; `first` if there is one part.
    Clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t closing,
           std::size_t last)
        : sound_(sound),
          from_(std::max(first, std::size_t{kReach}) - kReach),
          span_(std::min(last, sound.size() - 1 - kReach) - from_ - kReach + 1),
          times_s_(times_s.begin(), times_s.end()),
          mean_(span_) {
        const std::size_t opening = closing > this->first() ? closing - this->first() : 0;
        if (opening < kShortestPart || opening + kShortestPart > span_)
            parts_ = {{0, span_}};
        else
            parts_ = {{0, opening}, {opening, span_ - opening}};
        read();
    }

    /// The mean that most of the clicks agree with, begun with one after the other: round by round the better half goes
    /// on, with twice the clicks.
    void find_mean(Cost cost) {
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
                average(std::span{waves_}.first(std::min(waves_.size(), some)), kReach, cost);
                start.energy = energy(mean_, 0, span_);
                std::swap(mean_, start.mean);
            }
            std::stable_sort(starts.begin(), starts.end(),
                             [](const Start& a, const Start& b) { return a.energy > b.energy; });
            if (starts.size() == 1) break;
            starts.erase(starts.begin() + std::ssize(starts) / 2, starts.end());
        }
        mean_ = std::move(starts.front().mean);
        for (int round = 0; round < kRounds; ++round) average(kReach, cost);
    }
    /// The mean anew, of the clicks as they agree with the old one.
    std::vector<Places> average(int reach, Cost cost) { return average(waves_, reach, cost); }
    /// Moves the times to the places.
    void move(const std::vector<Places>& to) {
        for (std::size_t e = 0; e < to.size(); ++e) times_s_[e] += shift_of(to[e]) * ClickEnvelope::kStep_s;
    }
    void read() {
        waves_.clear();
        for (const double t : times_s_) waves_.push_back(sound_.read(t, from_, span_ + 2 * kReach));
    }
    [[nodiscard]] const std::vector<double>& times_s() const { return times_s_; }
    /// Of the values that are read about a time.
    [[nodiscard]] std::vector<ClickPart> parts() const {
        auto parts = parts_;
        for (auto& p : parts) p.first += first();
        return parts;
    }

   private:
    [[nodiscard]] std::size_t first() const { return from_ + kReach; }
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
    std::vector<Places> average(std::span<const Wave> some, int reach, Cost cost) {
        Wave sum{span_};
        std::vector<Places> out;
        const float share = 1.F / static_cast<float>(some.size());
        for (const auto& w : some) {
            const auto& places = out.emplace_back(places_of(mean_, parts_, w, 0, kReach, reach, cost));
            for (std::size_t k = 0; k < parts_.size(); ++k) {
                const auto [first, count] = parts_[k];
                add(sum, first, count, w, index(static_cast<std::ptrdiff_t>(first) + kReach + places[k].whole),
                    places[k], share);
            }
        }
        mean_ = std::move(sum);
        return out;
    }

    const ClickEnvelope& sound_;
    std::size_t from_, span_;       // of the values that are read about a time; the span without the spare steps
    std::vector<ClickPart> parts_;  // of the span
    std::vector<double> times_s_;
    Wave mean_;
    std::vector<Wave> waves_;
};

bool too_little(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first, std::size_t last) {
    return times_s.empty() || std::min(last, sound.size() - 1 - kReach) < std::max(first, std::size_t{kReach});
}

}  // namespace

ClickWave average_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                         std::size_t closing, std::size_t last, double noise) {
    ClickWave out;
    if (too_little(sound, times_s, first, last)) return out;
    const Cost cost{.stretch = Cost::of(kUsualStretch_s, noise)};
    Clicks clicks{sound, times_s, first, closing, last};
    clicks.find_mean(cost);
    clicks.move(clicks.average(kReach, cost));
    clicks.read();
    const auto last_places = clicks.average(kFineReach, cost);

    // The whole of what is read, as the last places lay it.
    out.parts = clicks.parts();
    out.noise = noise;
    out.mean = Wave{sound.size()};
    const float share = 1.F / static_cast<float>(last_places.size());
    for (std::size_t e = 0; e < last_places.size(); ++e)
        for (std::size_t k = 0; k < out.parts.size(); ++k) {
            const auto& place = last_places[e][k];
            const std::size_t from = k == 0 ? 0 : out.parts[k].first;
            const std::size_t end = k + 1 < out.parts.size() ? out.parts[k + 1].first : sound.size();
            const double at_s = clicks.times_s()[e] + place.whole * ClickEnvelope::kStep_s;
            add(out.mean, from, end - from, sound.read(at_s, from, end - from), 0, place, share);
        }
    for (std::size_t e = 0; e < last_places.size(); ++e)
        out.clicks.push_back(click_at(clicks.times_s()[e], last_places[e], out.parts.size()));
    return out;
}

ClickPlace place_click(const ClickEnvelope& sound, const ClickWave& wave, double time_s) {
    const std::size_t first = wave.first();
    const auto click = sound.read(time_s, first - kReach, wave.end() - first + 2 * kReach);
    const auto places = places_of(wave.mean, wave.parts, click, first, kReach, kReach,
                                  {.stretch = Cost::of(kUsualStretch_s, wave.noise)});
    return click_at(time_s, places, wave.parts.size());
}

double timing_error_s(const ClickWave& wave, std::span<const Wave> quiet) {
    if (quiet.size() < kFewestQuiet) return 0.0;
    std::vector<double> errors;
    for (auto laid : quiet) {
        for (std::size_t i = wave.first(); i < wave.end(); ++i) {
            laid.re[i] += wave.mean.re[i];
            laid.im[i] += wave.mean.im[i];
        }
        const auto places = places_of(wave.mean, wave.parts, laid, wave.first(), wave.first(), kReach,
                                      {.stretch = Cost::of(kUsualStretch_s, wave.noise)});
        errors.push_back(shift_of(places));
    }
    return ClickEnvelope::kStep_s * stats::kMadToSd * stats::median_absolute_deviation(errors);
}

double coherence(const ClickWave& a, const ClickWave& b) {
    const auto places = places_of(a.mean, a.parts, b.mean, a.first(), a.first(), kReach, {});
    double shared = 0.0;
    double whole = 0.0;
    for (std::size_t k = 0; k < a.parts.size(); ++k) {
        const auto [first, count] = a.parts[k];
        shared += places[k].power;
        whole += energy(b.mean, index(static_cast<std::ptrdiff_t>(first) + places[k].whole), count);
    }
    return shared / std::max(whole, 1e-300);
}

std::vector<double> time_faint_clicks(const ClickEnvelope& sound, std::span<const double> times_s, std::size_t first,
                                      std::size_t last, double usual_s, double noise) {
    if (too_little(sound, times_s, first, last)) return {times_s.begin(), times_s.end()};
    const Cost near{.far = Cost::of(usual_s, noise)};
    Clicks clicks{sound, times_s, first, first, last};
    clicks.find_mean(near);
    clicks.move(clicks.average(kReach, near));
    clicks.read();
    clicks.move(clicks.average(kFineReach, {}));
    return clicks.times_s();
}

}  // namespace idlehark
