#include "dsp/injectors/probe_recording.hpp"

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/click_events.hpp"
#include "dsp/injectors/click_path.hpp"
#include "dsp/injectors/click_wave.hpp"
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/injectors/time_scatter.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <limits>
#include <numeric>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {

constexpr int kReachByRumble = 4;  // frames of drift from cycle to cycle
constexpr int kChances = 3;        // foldings to learn what chance gives
constexpr int kReachByClicks = 8;
constexpr int kLearnRounds = 2;            // of path and weights
constexpr double kBetterClock = 1.1;       // contrast that the clicks' clock must have over the tracker's
constexpr double kSurelyClear = 1.8;       // of the chance's: the tracker's clock needs no rival,
constexpr double kMostlyLocked = 0.9;      // where it is heard nearly throughout
constexpr double kClearOfChance = 1.35;    // contrast against what chance gives
constexpr double kTurnShare = 0.4;         // power 360 degrees on, against the strongest: twice a cycle
constexpr double kPlace_s = 4e-3;          // how far the strongest click may be from the path's middle
constexpr double kBeforeClick_s = 0.5e-3;  // of a click, for its level
constexpr double kAfterClick_s = 2e-3;
constexpr double kHeardScatters = 5.0;
constexpr double kNear_s = 1.5e-3;     // an injector's own place in the cycle may be off by so much
constexpr double kClickSide_s = 6e-3;  // of a pair of clicks about the stronger one
constexpr double kBeside_s = 9e-3;     // clear of a place's clicks
constexpr std::size_t kFewestBeside = 20;
constexpr double kBesideShare = 0.9;
constexpr double kClickShare = 0.15;     // of its top: part of the pair
constexpr double kNextToNothing = 0.15;  // of the typical click's energy
constexpr double kFaintestApart = 0.35;
constexpr double kClearEnough_db = 2.2;  // below this single clicks drown now and then
constexpr std::size_t kFewestEvents = 8;
constexpr double kLoudBandShare = 0.1;  // of the largest excess: part of the band where clicks stand out
constexpr double kFoldStep_s = 0.5e-3;
constexpr double kAlikeWaves = 0.5;  // coherence, squared
constexpr double kUsualTimes = 1.5;  // a neighbour's clicks about where they are due, against the own ones' scatter
constexpr double kUsualLeast_s = 150e-6;
constexpr std::uint64_t kSeed = 20240229;

/// Mean excess of every band over its floor along the path.
std::vector<double> excess_along(const ClickBands& bands, const CrankClock& clock, const ClickPath& path) {
    constexpr double kLoudest = 300.0;
    std::vector<double> mean(bands.bands(), 0.0);
    for (const double c : path.at_cycles) {
        const auto k = static_cast<std::size_t>(std::lround(std::max(0.0, clock.time_at(c) / bands.hop_s)));
        if (k >= bands.frames()) continue;
        const auto row = bands.frame(k);
        for (std::size_t b = 0; b < mean.size(); ++b) mean[b] += std::min(static_cast<double>(row[b]), kLoudest);
    }
    constexpr double kMeanOverMedian = 1.4427;  // of a noise's power: 1 / ln 2
    for (auto& v : mean)
        v = std::max(0.0, v / static_cast<double>(std::max<std::size_t>(1, path.at_cycles.size())) - kMeanOverMedian);
    return mean;
}

std::vector<double> weights_from(std::span<const double> excess) {
    std::vector<double> w;
    for (const double s : excess) w.push_back(s / (1.0 + s));
    return w;
}

/// Time of a place in the cycle: `after` cycles after the strongest click of cycle k.
class Places {
   public:
    Places(const CrankClock& clock, const ClickPath& path) : clock_(clock) {
        // The path moves in whole frames: its course is the mean of five.
        const auto& at = path.at_cycles;
        for (std::size_t k = 0; k < at.size(); ++k) {
            const std::size_t side = std::min({k, at.size() - 1 - k, std::size_t{2}});
            double sum = 0.0;
            for (std::size_t i = k - side; i <= k + side; ++i) sum += at[i];
            at_.push_back(sum / static_cast<double>(2 * side + 1));
        }
    }
    [[nodiscard]] std::size_t cycles() const { return at_.size(); }
    [[nodiscard]] double time_s(std::size_t k, double after) const {
        const std::size_t next = std::min(k + 1, at_.size() - 1);
        const double length = next > k ? at_[next] - at_[k] : 1.0;
        return clock_.time_at(at_[k] + after * length);
    }

   private:
    const CrankClock& clock_;
    std::vector<double> at_;
};

/// Mean power at every place of the cycle, and the standard error of that where it is quiet.
struct Fold {
    std::vector<double> power;
    double error = 0.0;
};

Fold fold_of(const ClickBands& bands, std::span<const double> weights, const Places& places, std::size_t size) {
    const double sum = std::max(std::accumulate(weights.begin(), weights.end(), 0.0), 1e-30);
    Fold fold;
    fold.power.assign(size, 0.0);
    std::vector<double> squares(size, 0.0);
    std::vector<double> counts(size, 0.0);
    std::vector<float> power(bands.frames());
    for (std::size_t k = 0; k < power.size(); ++k) {
        double level = 0.0;
        const auto row = bands.frame(k);
        for (std::size_t b = 0; b < weights.size(); ++b) level += weights[b] * static_cast<double>(row[b]);
        power[k] = static_cast<float>(level / sum);
    }
    for (std::size_t k = 0; k < places.cycles(); ++k) {
        const double from = places.time_s(k, -0.25);
        const double to = places.time_s(k, 0.75);
        for (std::size_t m = 0; m < size; ++m) {
            const double t = std::lerp(from, to, (static_cast<double>(m) + 0.5) / static_cast<double>(size));
            const double frame = t / bands.hop_s + 0.5;
            if (frame < 0.0 || frame >= static_cast<double>(power.size())) continue;
            const auto v = static_cast<double>(power[static_cast<std::size_t>(frame)]);
            fold.power[m] += v;
            squares[m] += v * v;
            counts[m] += 1.0;
        }
    }
    for (std::size_t m = 0; m < size; ++m) {
        const double n = std::max(counts[m], 1.0);
        fold.power[m] /= n;
        squares[m] = std::sqrt(std::max(squares[m] / n - fold.power[m] * fold.power[m], 0.0) / n);
    }
    fold.error = stats::quantile(squares, 0.25);
    return fold;
}

/// The strongest click of a fold (in units of its quiet part), as laid over other places of it.
class FoldedClick {
   public:
    explicit FoldedClick(std::span<const double> fold) : fold_(fold) {
        const std::size_t n = fold.size();
        const auto own = static_cast<std::size_t>(std::lround(0.25 * static_cast<double>(n)));
        const auto reach = static_cast<std::size_t>(kPlace_s / kFoldStep_s);
        std::size_t top = own;
        for (std::size_t m = own - std::min(own, reach); m <= std::min(own + reach, n - 1); ++m)
            if (fold[m] > fold[top]) top = m;
        top_ = top;
        const auto side = static_cast<std::size_t>(kClickSide_s / kFoldStep_s);
        double squares = 0.0;
        for (std::size_t k = 0; k <= 2 * side; ++k) {
            const double over = fold[(top + n - side + k) % n] - 1.0;
            weight_.push_back(over > kClickShare * (fold[top] - 1.0) ? over : 0.0);
            squares += weight_.back() * weight_.back();
        }
        for (double& w : weight_) w /= std::max(squares, 1e-30);
    }
    /// Energy of what clicks at place m, in units of the strongest click's.
    [[nodiscard]] double at(std::size_t m) const {
        const std::size_t n = fold_.size();
        const std::size_t side = weight_.size() / 2;
        double sum = 0.0;
        for (std::size_t k = 0; k < weight_.size(); ++k) sum += weight_[k] * (fold_[(m + n - side + k) % n] - 1.0);
        return sum;
    }
    /// The most within kNear_s of a place `after` cycles on.
    [[nodiscard]] double near(double after) const {
        const auto n = static_cast<double>(fold_.size());
        const auto middle = std::lround(static_cast<double>(top_) + after * n);
        const auto reach = std::lround(kNear_s / kFoldStep_s);
        double most = 0.0;
        for (auto m = middle - reach; m <= middle + reach; ++m)
            most = std::max(
                most, at(static_cast<std::size_t>((m % std::ssize(fold_) + std::ssize(fold_)) % std::ssize(fold_))));
        return most;
    }
    /// Where that is, in cycles after the strongest click.
    [[nodiscard]] double place_near(double after) const {
        const auto n = static_cast<double>(fold_.size());
        const auto middle = std::lround(static_cast<double>(top_) + after * n);
        const auto reach = std::lround(kNear_s / kFoldStep_s);
        double most = -std::numeric_limits<double>::infinity();
        long best = middle;
        for (auto m = middle - reach; m <= middle + reach; ++m)
            if (const double v =
                    at(static_cast<std::size_t>((m % std::ssize(fold_) + std::ssize(fold_)) % std::ssize(fold_)));
                v > most) {
                most = v;
                best = m;
            }
        return static_cast<double>(best - static_cast<long>(top_)) / n;
    }
    /// What a place must have to count as heard: more than chance gives (`error` is the fold's), and more than what
    /// ticks between the places, which are the engine's.
    [[nodiscard]] double threshold(double error, std::span<const double> places) const {
        double squares = 0.0;
        for (const double w : weight_) squares += w * w;
        const double chance = kHeardScatters * error * std::sqrt(squares);
        const auto n = static_cast<double>(fold_.size());
        std::vector<double> between;
        for (std::size_t m = 0; m < fold_.size(); ++m) {
            const bool beside = std::all_of(places.begin(), places.end(), [&](double after) {
                double off = (static_cast<double>(m) - static_cast<double>(top_)) / n - after;
                off -= std::round(off);
                return std::fabs(off) * n * kFoldStep_s > kBeside_s;
            });
            if (beside) between.push_back(at(m));
        }
        return between.size() < kFewestBeside ? chance : std::max(chance, stats::quantile(between, kBesideShare));
    }

   private:
    std::span<const double> fold_;
    std::size_t top_ = 0;
    std::vector<double> weight_;
};

void fill_band(ProbeRecording& out, const ClickBands& bands, std::span<const double> excess) {
    const double most = *std::max_element(excess.begin(), excess.end());
    const double half = bands.centre_hz.size() > 1 ? 0.5 * (bands.centre_hz[1] - bands.centre_hz[0]) : 0.0;
    for (std::size_t b = 0; b < excess.size(); ++b) {
        if (excess[b] < kLoudBandShare * most) continue;
        if (!std::isfinite(out.band_low_hz)) out.band_low_hz = bands.centre_hz[b] - half;
        out.band_high_hz = bands.centre_hz[b] + half;
    }
}

/// Whether what clicks at other times shares the waveform of the clicks measured.
bool rings_alike(const ClickEnvelope& sound, const ClickEvents& events, std::span<const double> times_s) {
    if (!events.alike) return false;
    const auto other = average_clicks(sound, times_s, events.core_first, events.core_last);
    return other.count > 0 && coherence(events.wave, other) > kAlikeWaves;
}

/// Scatter of the own clicks about the crank angle, s. Between two of them the crank wanders as much as a good injector
/// scatters; the neighbours' clicks mark it in between.
double jitter_of(const ProbeRecording& probe, const CrankClock& clock, const ClickEvents& events, double start_s,
                 const ClickEnvelope& sound) {
    const double period_s = 1.0 / clock.mean_rate_hz();
    const double per = probe.each_turn ? 0.5 : 1.0;
    const double start = clock.cycles_at(start_s);
    std::vector<CourseMark> marks;
    for (std::size_t e = 0; e < events.heard_s.size(); ++e) {
        const double at = per * static_cast<double>(e);
        marks.push_back({at, (clock.cycles_at(events.heard_s[e]) - start - at) * period_s, 0});
    }
    auto split = split_scatter(marks);
    const auto own = marks;
    const FoldedClick fold{probe.fold};
    std::size_t family = 0;
    for (const auto& other : probe.others) {
        const double off_turn = other.after_cycles / per;
        if (!other.heard || std::fabs(off_turn - std::round(off_turn)) * per * period_s < kBeside_s) continue;
        ++family;
        const double after = fold.place_near(other.after_cycles);
        std::vector<double> times;
        std::vector<double> at;
        for (std::size_t e = 0; e < own.size(); e += probe.each_turn ? 2 : 1) {
            const double t = clock.time_at(start + own[e].at + after + split.course[e] / period_s);
            if (t < kBeside_s || t + kBeside_s > probe.length_s) continue;
            times.push_back(t);
            at.push_back(own[e].at + after);
        }
        if (times.size() < kFewestEvents) continue;
        const auto heard = time_faint_clicks(sound, times, events.core_first, events.core_last,
                                             std::max(kUsualTimes * split.sd, kUsualLeast_s), events.noise);
        for (std::size_t k = 0; k < times.size(); ++k)
            marks.push_back({at[k], (clock.cycles_at(heard[k]) - start - at[k]) * period_s, family});
    }
    if (family > 0) {
        std::stable_sort(marks.begin(), marks.end(),
                         [](const CourseMark& a, const CourseMark& b) { return a.at < b.at; });
        split = split_scatter(marks);
    }
    return std::sqrt(std::max(0.0, split.sd * split.sd - events.timing_error_s * events.timing_error_s));
}

/// Power of the heard clicks: per band the mean over the pair's stretch, less the same band's mean in the quiet.
void fill_level(ProbeRecording& out, const ClickBands& bands, const ClickEvents& events,
                std::span<const double> quiet_s, double first_s, double second_s) {
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
    for (const double t : events.heard_s)
        if (std::isfinite(t)) {
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
    if (loud_count < 1.0 || still_count < 2.0) return;
    std::vector<double> energy(loud.size(), 0.0);
    std::vector<double> background(loud.size(), 0.0);
    double clicks = 0.0;
    double noise = 0.0;
    for (std::size_t b = 0; b < loud.size(); ++b) {
        const double mean = still[b] / still_count;
        const double sd = std::sqrt(std::max(square[b] / still_count - mean * mean, 0.0));
        const double over = loud[b] / loud_count - mean;
        background[b] = bands.floor[b];
        if (over < 3.0 * sd * std::sqrt(2.0 / loud_count)) continue;  // two: neighbouring frames overlap by half
        energy[b] = over * bands.floor[b] * loud_count / heard * bands.hop_s;  // of the pair, whatever the stretch
        clicks += over * bands.floor[b];
        noise += mean * bands.floor[b];
    }
    if (clicks <= 0.0) return;
    out.level_db = 10.0 * std::log10(clicks * loud_count / heard * bands.hop_s);
    out.spectrum.assign(kSpectrumSize, std::nan(""));
    out.quiet = out.spectrum;
    for (std::size_t i = 0; i < kSpectrumSize; ++i) {
        const double f = kSpectrumFrom_hz + static_cast<double>(i) * kSpectrumStep_hz;
        const auto above =
            std::lower_bound(bands.centre_hz.begin(), bands.centre_hz.end(), f) - bands.centre_hz.begin();
        if (above == std::ssize(bands.centre_hz)) continue;
        const auto hi = static_cast<std::size_t>(above);
        const std::size_t lo = hi > 0 ? hi - 1 : hi;
        const double gap = bands.centre_hz[hi] - bands.centre_hz[lo];
        const double share = gap > 0.0 ? (f - bands.centre_hz[lo]) / gap : 0.0;
        out.spectrum[i] = std::lerp(energy[lo], energy[hi], share);
        out.quiet[i] = std::lerp(background[lo], background[hi], share);
    }
    out.clarity_db = 10.0 * std::log10(clicks / std::max(noise, 1e-300));
}

}  // namespace

ProbeRecording::Place place_heard(const ProbeRecording& recording, double after_cycles) {
    const double share = FoldedClick{recording.fold}.near(after_cycles);
    const double level_db = share > 0.0 ? 10.0 * std::log10(share) : -std::numeric_limits<double>::infinity();
    const bool heard = level_db > recording.hearing_db;
    return {0, after_cycles, heard ? level_db : -std::numeric_limits<double>::infinity(), heard};
}

ProbeRecording examine_probe(AudioView x, double sample_rate_hz, std::span<const RpmReading> readings,
                             const Engine& engine, int cylinder) {
    check(engine);
    if (cylinder < 1 || cylinder > engine.cylinders)
        throw std::invalid_argument("cylinder: " + std::to_string(cylinder) + " is not in 1.." +
                                    std::to_string(engine.cylinders));
    ProbeRecording out;
    out.length_s = static_cast<double>(x.size()) / sample_rate_hz;
    const auto bands = click_bands(x, sample_rate_hz);
    if (bands.bands() < 2) return out;
    // Both clocks where there are two and the clicks do not stand out on the first: the tracker may follow something
    // else, and then the clicks do not line up on it.
    const auto plain = click_strength(bands, {});
    std::optional<CrankClock> clock;
    ClickPath path;
    const auto consider = [&](std::optional<CrankClock> candidate, int reach) {
        if (!candidate) return false;
        auto followed = follow_clicks(plain, bands.hop_s, *candidate, reach, clock ? 0 : 1, kSeed);
        if (followed.at_cycles.size() < 2 || (clock && followed.contrast < kBetterClock * path.contrast)) return false;
        clock = std::move(candidate);
        path = std::move(followed);
        return true;
    };
    out.firing_heard = consider(clock_from_readings(readings, kRumbleHop_s, engine), kReachByRumble);
    if (out.firing_heard) out.rpm = speed_from_cycle_frequency(engine, Hertz{clock->mean_rate_hz()}).value;
    const auto locked = std::count_if(readings.begin(), readings.end(), [](const RpmReading& r) { return r.locked; });
    const bool clear = path.contrast > kSurelyClear * path.chance_contrast && path.chance_contrast > 0.0 &&
                       static_cast<double>(locked) >= kMostlyLocked * static_cast<double>(readings.size());
    if (!clear && consider(clock_from_clicks(plain, bands.hop_s, engine), kReachByClicks)) out.firing_heard = false;
    if (!clock) return out;

    std::vector<double> excess;
    std::vector<double> weights;
    for (int round = 0; round < kLearnRounds; ++round) {
        excess = excess_along(bands, *clock, path);
        if (*std::max_element(excess.begin(), excess.end()) <= 0.0) return out;
        weights = weights_from(excess);
        if (!out.firing_heard) {  // the clicks' own clock can be sharpened
            std::vector<double> starts;
            for (const double c : path.at_cycles) starts.push_back(clock->time_at(c));
            clock = clock_from_cycles(starts, out.length_s);
        }
        path = follow_clicks(click_strength(bands, weights), bands.hop_s, *clock, kReachByRumble,
                             round + 1 == kLearnRounds ? kChances : 0, kSeed);
        if (path.at_cycles.size() < 2) return out;
    }
    out.repeats = path.contrast > kClearOfChance * path.chance_contrast;
    if (!out.repeats) return out;
    const double cycles = static_cast<double>(path.at_cycles.size() - 1);
    const double period_s = (clock->time_at(path.at_cycles.back()) - clock->time_at(path.at_cycles.front())) / cycles;
    out.rpm = speed_from_cycle_frequency(engine, Hertz{1.0 / period_s}).value;
    fill_band(out, bands, excess);

    const Places places{*clock, path};
    auto fold = fold_of(bands, weights, places, static_cast<std::size_t>(std::lround(period_s / kFoldStep_s)));
    // The quarter point of what is noise alone lies 0.67 errors under its mean, and no lower with clicks among it.
    const double base = stats::quantile(fold.power, 0.25) + 0.67 * fold.error;
    out.fold = std::move(fold.power);
    for (auto& v : out.fold) v /= base;
    const auto fractions = firing_fractions(engine);
    out.hearing_db = 10.0 * std::log10(std::max(FoldedClick{out.fold}.threshold(fold.error / base, fractions), 1e-6));
    out.each_turn = engine.strokes == 4 && std::pow(10.0, 0.1 * place_heard(out, 0.5).level_db) > kTurnShare;
    std::size_t index = static_cast<std::size_t>(cylinder - 1);
    if (!engine.firing_order.empty())
        index = static_cast<std::size_t>(std::find(engine.firing_order.begin(), engine.firing_order.end(), cylinder) -
                                         engine.firing_order.begin());
    for (std::size_t k = 0; k < fractions.size(); ++k) {
        if (k == index) continue;
        double after = fractions[k] - fractions[index];
        after -= std::floor(after);
        out.others.push_back(place_heard(out, after));
        out.others.back().cylinder = engine.firing_order.empty() ? static_cast<int>(k) + 1 : engine.firing_order[k];
    }

    // Due times, and quiet ones: where the fold is lowest over a stretch as long as the envelope's.
    std::vector<double> due_s;
    std::vector<double> quiet_s;
    const double reach_s = event_reach() * ClickEnvelope::kStep_s;
    const auto stretch = static_cast<std::size_t>(2.0 * reach_s / bands.hop_s);
    double least = std::numeric_limits<double>::infinity();
    double quiet_after = 0.25;
    for (std::size_t m = 0; m < out.fold.size(); ++m) {
        double sum = 0.0;
        for (std::size_t i = 0; i < stretch; ++i) sum += out.fold[(m + i) % out.fold.size()];
        if (sum >= least) continue;
        least = sum;
        quiet_after =
            (static_cast<double>(m) + 0.5 * static_cast<double>(stretch)) / static_cast<double>(out.fold.size()) - 0.25;
    }
    const auto take = [&](double after, std::vector<double>& list) {
        for (std::size_t k = 1; k + 1 < places.cycles(); ++k) {  // at both ends the path has support on one side only
            const double t = places.time_s(k, after);
            if (t > 5e-3 && t + 12e-3 < out.length_s) list.push_back(t);
        }
    };
    take(0.0, due_s);
    take(quiet_after, quiet_s);
    if (due_s.size() < kFewestEvents) return out;
    std::vector<double> half_s;
    take(FoldedClick{out.fold}.place_near(0.5), half_s);

    ClickEnvelope envelope{x, sample_rate_hz, bands.centre_hz,
                           [&] {
                               std::vector<double> gain;
                               for (std::size_t b = 0; b < weights.size(); ++b)
                                   gain.push_back(weights[b] / bands.floor[b]);
                               return gain;
                           }(),
                           event_reach()};
    // Half a cycle on, as loud: the same injector again if it rings alike, else others. All open together if stated.
    ClickEvents events;
    if (out.each_turn && engine.injection != Injection::simultaneous) {
        events = measure_events(envelope, due_s, quiet_s);
        out.each_turn = rings_alike(envelope, events, half_s);
    }
    if (out.each_turn) {
        due_s.insert(due_s.end(), half_s.begin(), half_s.end());
        std::sort(due_s.begin(), due_s.end());
    }
    if (events.heard_s.empty() || out.each_turn) events = measure_events(envelope, due_s, quiet_s);
    out.due = static_cast<int>(events.heard_s.size());
    out.missed = events.missed;
    out.clearly_missed = static_cast<int>(
        std::count_if(events.strength.begin(), events.strength.end(), [](double v) { return v < kNextToNothing; }));
    std::vector<double> heard;
    for (std::size_t e = 0; e < events.strength.size(); ++e)
        if (std::isfinite(events.heard_s[e])) heard.push_back(events.strength[e]);
    out.heard_apart = !heard.empty() && stats::quantile(heard, 0.03) > kFaintestApart;
    const auto pair = find_pair(events);
    out.open_at_ms = 1e3 * pair.open_s;
    out.close_at_ms = 1e3 * pair.close_s;
    out.open_close_ms = 1e3 * (pair.close_s - pair.open_s);
    out.pair_from_ms = 1e3 * events.shape_from_s;
    out.pair_step_ms = 1e3 * ClickEnvelope::kStep_s;
    for (const double v : events.shape) out.pair.push_back(v / events.noise);
    const double first_s = std::isfinite(pair.open_s) ? pair.open_s : 0.0;
    fill_level(out, bands, events, quiet_s, first_s, std::isfinite(pair.close_s) ? pair.close_s : first_s);
    out.heard_apart = out.heard_apart && out.clarity_db > kClearEnough_db;

    if (events.heard_s.size() - static_cast<std::size_t>(events.missed) >= kFewestEvents)
        out.jitter_us = 1e6 * jitter_of(out, *clock, events, due_s[events.first_due], envelope);
    return out;
}

}  // namespace idlehark
