#include "dsp/injectors/probe_recording.hpp"

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/click_events.hpp"
#include "dsp/injectors/click_fold.hpp"
#include "dsp/injectors/click_level.hpp"
#include "dsp/injectors/click_line.hpp"
#include "dsp/injectors/click_pair.hpp"
#include "dsp/injectors/click_wave.hpp"
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/injectors/time_scatter.hpp"
#include "dsp/stated_idle.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <limits>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {

constexpr int kChances = 3;  // foldings to learn what chance gives
constexpr int kFramesByClicks = 8;
constexpr double kGatedBase = 1e-6;       // of the largest: where a noise gate leaves nothing between the clicks
constexpr double kBetterClock = 1.1;      // contrast that the clicks' clock must have over the tracker's
constexpr double kFarBetterClock = 1.15;  // the same where the clicks line up on the tracker's clock,
constexpr double kSurelyClear = 1.8;      // as they do with so much more contrast than chance gives
constexpr double kMostlyLocked = 0.9;     // and the firing is heard nearly throughout
constexpr double kNearlyAsGood = 0.8;     // where the tracker's speed is not that of the stated idle
constexpr double kTurnShare = 0.4;        // power 360 degrees on, against the strongest: twice a cycle
constexpr double kNextToNothing = 0.15;   // of the typical click's energy
constexpr double kFarBelow = 4.5;         // standard deviations of the heard ones' amplitude
constexpr double kBuried_db = -2.0;       // below this single clicks drown: the times found are the noise's
constexpr std::size_t kFewestEvents = 8;
constexpr double kLoudBandShare = 0.1;  // of the largest excess: part of the band where clicks stand out
constexpr double kSurelyClicks = 3.0;   // contrast that the engine's ticks do not reach
constexpr double kAsClear_db = -3.0;    // another place against the strongest click
constexpr double kLouder_db = 3.0;      // what is the own, of two as clear
constexpr double kAlikeWaves = 0.5;     // coherence, squared
constexpr double kUsualTimes = 1.5;     // a neighbour's clicks about where they are due, against the own ones' scatter
constexpr double kUsualLeast_s = 200e-6;

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
    const auto other =
        average_clicks(sound, times_s, events.core_first, events.core_closing, events.core_last, events.noise);
    return !other.parts.empty() && coherence(events.wave, other) > kAlikeWaves;
}

struct Jitter {
    double sd_s, least_s;
};

/// Scatter of the own clicks about the crank angle. Between two of them the crank wanders as much as a good injector
/// scatters; the neighbours' clicks mark it in between.
Jitter jitter_of(const ProbeRecording& probe, const CrankClock& clock, const ClickEvents& events, double start_s,
                 const ClickEnvelope& sound) {
    const double period_s = 1.0 / clock.mean_rate_hz();
    const double per = probe.each_turn ? 0.5 : 1.0;
    const double start = clock.cycles_at(start_s);
    std::vector<CourseMark> marks;
    for (std::size_t e = 0; e < events.heard_s.size(); ++e) {
        const double at = per * static_cast<double>(e);
        marks.push_back({at, (clock.cycles_at(events.heard_s[e]) - start - at) * period_s, 0});
    }
    // Where the neighbours' are due the own clicks' course says.
    const FoldedClick fold{probe.fold};
    const double end = marks.back().at;
    std::size_t family = 0;
    for (const auto& other : probe.others) {
        const double off_turn = other.after_cycles / per;
        if (!other.heard || std::fabs(off_turn - std::round(off_turn)) * per * period_s < kClearOfPlace_s) continue;
        ++family;
        for (double at = fold.place_near(other.after_cycles); at < end; at += 1.0)
            marks.push_back({at, std::nan(""), family});
    }
    std::stable_sort(marks.begin(), marks.end(), [](const CourseMark& a, const CourseMark& b) { return a.at < b.at; });
    auto places = marks;
    for (auto& m : places) m.family = 0;
    auto split = split_scatter(places);
    for (std::size_t f = 1; f <= family; ++f) {
        std::vector<double> times;
        std::vector<std::size_t> which;
        for (std::size_t k = 0; k < marks.size(); ++k) {
            if (marks[k].family != f) continue;
            const double t = clock.time_at(start + marks[k].at + split.course[k] / period_s);
            if (t < kClearOfPlace_s || t + kClearOfPlace_s > probe.length_s) continue;
            times.push_back(t);
            which.push_back(k);
        }
        if (times.size() < kFewestEvents) continue;
        const auto heard = time_faint_clicks(sound, times, events.core_first, events.core_last,
                                             std::max(kUsualTimes * split.sd, kUsualLeast_s), events.noise);
        for (std::size_t i = 0; i < which.size(); ++i) {
            auto& mark = marks[which[i]];
            mark.value = (clock.cycles_at(heard[i]) - start - mark.at) * period_s;
        }
    }
    if (family > 0) split = split_scatter(marks);
    const auto without_noise = [&](double sd) {
        return std::sqrt(std::max(0.0, sd * sd - events.timing_error_s * events.timing_error_s));
    };
    return {without_noise(split.sd), without_noise(split.least_sd)};
}

/// On the common grid of frequencies, NaN beyond the bands.
std::vector<double> on_grid(const ClickBands& bands, std::span<const double> by_band) {
    std::vector<double> out(kSpectrumSize, std::nan(""));
    for (std::size_t i = 0; i < kSpectrumSize; ++i) {
        const double f = kSpectrumFrom_hz + static_cast<double>(i) * kSpectrumStep_hz;
        if (f <= bands.centre_hz.back()) out[i] = between_bands(bands.centre_hz, by_band, f);
    }
    return out;
}

/// What tells missing clicks from faint ones.
void judge_missed(ProbeRecording& out, const ClickEvents& events) {
    std::vector<double> amplitudes;
    for (std::size_t e = 0; e < events.strength.size(); ++e) {
        const double v = std::max(events.strength[e], 0.0);
        if (std::isfinite(events.heard_s[e]))
            amplitudes.push_back(std::sqrt(v));
        else
            out.loudest_missed = std::max(out.loudest_missed, v);
    }
    if (amplitudes.empty()) return;
    const double faintest = *std::min_element(amplitudes.begin(), amplitudes.end());
    out.faintest_heard = faintest * faintest;
    const double typical = stats::median(amplitudes);
    const double sd = stats::kMadToSd * stats::median_absolute_deviation(amplitudes);
    const auto clear = [&](double v) {
        return v < kNextToNothing && std::sqrt(std::max(v, 0.0)) < typical - kFarBelow * sd;
    };
    out.clearly_missed = static_cast<int>(std::count_if(events.strength.begin(), events.strength.end(), clear));
    out.missed_by_scatter = static_cast<double>(events.strength.size()) *
                            stats::normal_cdf((std::sqrt(out.loudest_missed) - typical) / std::max(sd, 1e-9));
}

/// What is measured of the clicks of a line.
ProbeRecording measure_line(ProbeRecording out, AudioView x, double sample_rate_hz, const ClickBands& bands,
                            const ClickLine& line, const Engine& engine, int cylinder) {
    const auto& [clock, path, excess, weights] = line;
    out.rpm = speed_from_cycle_frequency(engine, Hertz{1.0 / mean_period_s(clock, path)}).value;
    fill_band(out, bands, excess);

    const CyclePlaces places{clock, path};
    auto fold = fold_clicks(bands, weights, clock, path);
    // The quarter point of what is noise alone lies 0.67 errors under its mean, and no lower with clicks among it.
    const double base = std::max(stats::quantile(fold.power, 0.25) + 0.67 * fold.error,
                                 std::max(kGatedBase * stats::quantile(fold.power, 1.0), 1e-30));
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

    const ClickEnvelope envelope{x, sample_rate_hz, bands.centre_hz, band_gains(bands, weights), event_reach()};
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
    out.common_share = events.common_share;
    judge_missed(out, events);
    const auto pairs = find_pairs(events, x, sample_rate_hz, bands.range());
    const auto& pair = pairs.front();
    out.open_at_ms = 1e3 * pair.open_s;
    out.close_at_ms = 1e3 * pair.close_s;
    out.open_close_ms = 1e3 * (pair.close_s - pair.open_s);
    for (const auto& p : pairs)
        if (std::isfinite(p.close_s)) out.spacings.push_back({1e3 * (p.close_s - p.open_s), p.rise});
    out.pair_from_ms = 1e3 * events.shape.from_s;
    out.pair_step_ms = 1e3 * events.shape.step_s;
    for (const double v : events.shape.power) out.pair.push_back(v / std::max(events.noise, 1e-30));
    const auto level = click_level(bands, weights, envelope, events, pair, quiet_s,
                                   engine.injection != Injection::simultaneous, sample_rate_hz);
    out.level_db = level.level_db;
    out.power_level_db = level.power_level_db;
    out.clarity_db = level.clarity_db;
    if (!level.energy.empty()) {
        out.spectrum = on_grid(bands, level.energy);
        out.quiet = on_grid(bands, bands.floor);
    }
    if (out.clarity_db > kBuried_db &&
        events.heard_s.size() - static_cast<std::size_t>(events.missed) >= kFewestEvents) {
        const auto jitter = jitter_of(out, clock, events, due_s[events.first_due], envelope);
        out.jitter_us = 1e6 * jitter.sd_s;
        out.jitter_least_us = 1e6 * jitter.least_s;
    }
    return out;
}

/// Whether a rival lies where the firing order has another injector, as seen from the strongest line.
bool at_a_place(const ClickLine& line, const ClickLine& rival, const ProbeRecording& strongest) {
    std::vector<double> after;
    for (std::size_t k = 0; k < std::min(line.path.at_cycles.size(), rival.path.at_cycles.size()); ++k)
        after.push_back(rival.path.at_cycles[k] - line.path.at_cycles[k]);
    const double middle = stats::median(after);
    return std::any_of(strongest.others.begin(), strongest.others.end(), [&](const ProbeRecording::Place& p) {
        const double off = middle - p.after_cycles;
        return std::fabs(off - std::round(off)) * mean_period_s(line.clock, line.path) < kPlaceSide_s;
    });
}

}  // namespace

ProbeRecording::Place place_heard(const ProbeRecording& recording, double after_cycles) {
    const double share = recording.fold.empty() ? 0.0 : FoldedClick{recording.fold}.near(after_cycles);
    const double level_db = share > 0.0 ? 10.0 * std::log10(share) : -std::numeric_limits<double>::infinity();
    const bool heard = level_db > recording.hearing_db;
    return {0, after_cycles, heard ? level_db : -std::numeric_limits<double>::infinity(), heard};
}

bool one_part(const ProbeRecording& r) { return r.common_share > kOnePart && r.jitter_us < kSteady_us; }

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
    const auto consider = [&](std::optional<CrankClock> candidate, int reach, double better) {
        if (!candidate) return false;
        auto followed = follow_clicks(plain, bands.hop_s, *candidate, reach, clock ? 0 : 1);
        if (followed.at_cycles.size() < 2 || (clock && followed.contrast < better * path.contrast)) return false;
        clock = std::move(candidate);
        path = std::move(followed);
        return true;
    };
    out.firing_heard = consider(clock_from_readings(readings, kRumbleHop_s, engine), kFramesByClock, 0.0);
    if (out.firing_heard) out.rpm = speed_from_cycle_frequency(engine, Hertz{clock->mean_rate_hz()}).value;
    const auto locked = std::count_if(readings.begin(), readings.end(), [](const RpmReading& r) { return r.locked; });
    const bool clear = path.contrast > kSurelyClear * path.chance_contrast && path.chance_contrast > 0.0 &&
                       static_cast<double>(locked) >= kMostlyLocked * static_cast<double>(readings.size());
    // A probe that hears no firing gives the tracker nothing but clicks to follow: once a turn they are an engine half
    // as fast to it, and any whole multiple of their rate may be the firing's.
    const bool stated = is_stated_idle(engine, Rpm{out.rpm});
    const double better = !stated ? kNearlyAsGood : clear ? kFarBetterClock : kBetterClock;
    if (consider(clock_from_clicks(plain, bands.hop_s, engine), kFramesByClicks, better)) out.firing_heard = false;
    if (!clock) return out;

    const auto line = learn_line(bands, {*clock, path}, !out.firing_heard, kChances);
    if (!line) return out;
    out.repeats = line->path.contrast > kClearOfChance * line->path.chance_contrast;
    if (!out.repeats) return out;
    const auto measured = [&](const ClickLine& l) {
        return measure_line(out, x, sample_rate_hz, bands, l, engine, cylinder);
    };
    auto strongest = measured(*line);
    // It does not ring like one part: what the engine itself ticks may be louder there than the injector. Or, of two as
    // clear at injectors' places, the louder one is the own: above the bands where most noise is a neighbour may be as
    // clear.
    const bool surely_part = one_part(strongest) || line->path.contrast > kSurelyClicks;
    const auto as_loud = [](const ProbeRecording::Place& p) { return p.heard && p.level_db > kAsClear_db; };
    const bool rival_place =
        !strongest.each_turn && std::any_of(strongest.others.begin(), strongest.others.end(), as_loud);
    if (surely_part && !rival_place) return strongest;
    std::optional<ProbeRecording> part;
    double clearest = 0.0;
    double loudest_db = strongest.level_db + kLouder_db;
    for (const auto& rival : rival_lines(bands, plain, *line)) {
        if (!surely_part && rival.path.contrast <= clearest) continue;
        auto other = measured(rival);
        if (!one_part(other) || !std::isfinite(other.level_db)) continue;
        if (surely_part && (other.level_db < loudest_db || !at_a_place(*line, rival, strongest))) continue;
        clearest = rival.path.contrast;
        loudest_db = other.level_db;
        part = std::move(other);
    }
    return part ? *std::move(part) : strongest;
}

}  // namespace idlehark
