#include "dsp/injectors/injector_set.hpp"

#include "dsp/injectors/neighbour_places.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <limits>
#include <stdexcept>

namespace idlehark {

namespace {

// All by trials on simulated sets; see the bench.
constexpr double kNearLoudest_db = 4.0;  // the set's sound ones lie within this of its loudest
constexpr double kWeaker_db = -4.3;
constexpr double kWeakerTogether_db = -3.0;  // the neighbours fill up what is missing
constexpr double kLouder_db = 5.0;
constexpr double kSilent_db = -8.7;          // below this only neighbours are heard
constexpr double kSilentTogether_db = -6.5;  // the same when all open together and the neighbours add up,
constexpr double kTheirScatter_us = 200.0;   // where the clicks scatter that much more than the set's;
constexpr double kScatter_db_per_us = 0.01;  // neighbours' come late by unlike ways, the engine's ticks have no place
constexpr double kMostScatter_us = 500.0;
constexpr double kFullVote_db = 2.0;   // above a silent one's level: from here on an opening time counts in full
constexpr double kUnclearVote = 0.6;   // where it does not ring like one part
constexpr double kSplitVotes = 0.5;    // as many for each of two opening times: sound cannot tell
constexpr double kLonely_db = 6.0;     // one that is louder by more is no louder one: the others are silent or weak
constexpr double kRival_db = -3.5;     // another place this near to the strongest may be as good
constexpr double kDoubtful_db = -3.0;  // above this it is no neighbour, unless unlike in every way
// What else tells a faint one from neighbours alone, in dB of its level; logistic regression on simulated sets.
constexpr double kPerPlaceCost_db = 0.5;
constexpr double kPowerShare = 0.6;    // of what the level by power is less than the one by waveform, and by more
constexpr double kUsualLess_db = 3.0;  // than this: the mean of clicks that drown, each laid where it fits best, holds
constexpr double kMostLess_db = 10.0;  // noise that they then seem to share
constexpr double kUnlikeOpening_db = 4.0;
constexpr double kUnlikeScatter_db = 5.1;
constexpr double kFollowing = 0.8;            // how far the clicks follow the noise before the set tells more
constexpr double kFollowingWeight_db2 = 8.0;  // what that counts as
constexpr double kMostGain_db = 6.0;          // where it makes a recording more like the set;
constexpr double kMostContact_db = 2.0;       // else no more than a probe's contact does: a fan may have come on
constexpr double kLeastRatio = 1e-4;
constexpr double kDrownedShare = 0.85;  // of the waveform that the clearest clicks share
constexpr double kTicks_us = 550.0;     // scatter that no drowned injector reaches
// Share of a common waveform in the clearest clicks of any injectors; an engine heard in the open has 0.42.
constexpr double kLeastAlike = 0.45;
constexpr double kSpacingShare = 0.1;
constexpr double kSpacing_ms = 0.3;
constexpr double kJitterTimes = 2.5;
constexpr double kJitter_us = 180.0;
constexpr double kLeastTimes = 1.5;         // what the crank's wander leaves surely of it
constexpr double kLeastTold_us = 5.0;       // less is not told from the crank's wander
constexpr double kTicksScatter_us = 300.0;  // from here on what scatters more than the set's may be no injector at all
constexpr double kLeastMissedShare = 0.01;
constexpr double kGap = 1.8;                   // the faintest heard against the loudest missed, in energy
constexpr double kAlone = 0.35;                // the same against the typical click, for one miss alone
constexpr double kLeastMissedBlurred = 0.012;  // lower end, where the faintest clicks and none at all run together,
constexpr double kTimesByScatter = 3.0;        // and so many times what the scatter of the heard ones would leave there

std::vector<double> picked(const std::vector<double>& values, const std::vector<std::size_t>& members) {
    std::vector<double> out;
    out.reserve(members.size());
    for (const std::size_t i : members) out.push_back(values[i]);
    return out;
}

double median_of(const std::vector<double>& v) { return v.empty() ? std::nan("") : stats::median(v); }

/// Spread over the neighbouring bands: the same part made twice rings a few percent higher or lower.
std::vector<double> blurred(const std::vector<double>& spectrum) {
    std::vector<double> out(spectrum.size(), std::nan(""));
    for (std::size_t b = 0; b < spectrum.size(); ++b) {
        if (!std::isfinite(spectrum[b])) continue;
        double sum = 0.5 * spectrum[b];
        double weights = 0.5;
        for (const std::size_t k : {b - 1, b + 1})  // before the first wraps round to beyond the last
            if (k < spectrum.size() && std::isfinite(spectrum[k])) {
                sum += 0.25 * spectrum[k];
                weights += 0.25;
            }
        out[b] = sum / weights;
    }
    return out;
}

/// Level of a spectrum against a reference in dB, each band weighed by the root of the reference: what lies beside the
/// set's clicks does not count.
double against(const std::vector<double>& heard, const std::vector<double>& wanted) {
    const auto spectrum = blurred(heard);
    const auto reference = blurred(wanted);
    double sum = 0.0;
    double whole = 0.0;
    for (std::size_t b = 0; b < spectrum.size(); ++b) {
        if (!std::isfinite(spectrum[b]) || !(reference[b] > 0.0)) continue;
        sum += std::sqrt(reference[b]) * spectrum[b];
        whole += std::sqrt(reference[b]) * reference[b];
    }
    return whole > 0.0 ? 10.0 * std::log10(std::max(sum / whole, kLeastRatio)) : std::nan("");
}

std::vector<double> mean_spectrum(std::span<const ProbedInjector> set, const std::vector<std::size_t>& members) {
    std::vector<double> mean(kSpectrumSize, std::nan(""));
    for (std::size_t b = 0; b < kSpectrumSize; ++b) {
        std::vector<double> known;
        for (const std::size_t i : members)
            if (const double v = set[i].recording.spectrum[b]; std::isfinite(v)) known.push_back(v);
        if (!known.empty()) mean[b] = stats::mean(known);
    }
    return mean;
}

/// How far clicks follow what sounds between them, 0..1: the slope of one on the other over the `members`, drawn
/// towards kFollowing.
double following(const std::vector<double>& levels_db, const std::vector<double>& quiet_db,
                 const std::vector<std::size_t>& members) {
    if (members.empty()) return kFollowing;
    double both = kFollowing * kFollowingWeight_db2;
    double square = kFollowingWeight_db2;
    const double level = stats::mean(picked(levels_db, members));
    const double quiet = stats::mean(picked(quiet_db, members));
    for (const std::size_t i : members) {
        both += (quiet_db[i] - quiet) * (levels_db[i] - level);
        square += (quiet_db[i] - quiet) * (quiet_db[i] - quiet);
    }
    return std::clamp(both / square, 0.0, 1.0);
}

/// How much a recording's gain makes its clicks louder than the set's, dB: what sounds between them is louder too. The
/// contact of a probe and a recorder's gain change both alike, a fan that comes on changes the noise alone; which it is
/// the other sound ones tell.
std::vector<double> gains_of(std::span<const ProbedInjector> set, const std::vector<double>& levels_db,
                             const std::vector<std::size_t>& sound, const std::vector<double>& reference) {
    std::vector<double> quiet_db;
    for (const auto& p : set) quiet_db.push_back(against(p.recording.quiet, reference));
    const double usual = median_of(picked(quiet_db, sound));
    std::vector<double> gains(set.size(), 0.0);
    for (std::size_t i = 0; i < set.size(); ++i) {
        if (!std::isfinite(quiet_db[i])) continue;
        auto others = sound;
        std::erase(others, i);
        const double gain = following(levels_db, quiet_db, others) * (quiet_db[i] - usual);
        const double most = gain * levels_db[i] > 0.0 ? kMostGain_db : kMostContact_db;
        gains[i] = std::clamp(gain, -most, most);
    }
    return gains;
}

bool scatters_more(const ProbeRecording& r, double usual_us, double least_us = kJitter_us) {
    return std::isfinite(usual_us) && r.jitter_us > std::max(least_us, kJitterTimes * usual_us) &&
           r.jitter_least_us > kLeastTimes * usual_us;
}

/// What is heard neither rings alike nor comes on time as the set's clearest clicks do: the engine's own ticks, which
/// may drown a faint injector's clicks.
bool drowned(const ProbeRecording& r, const ProbeRecording* clearest) {
    return clearest != nullptr && r.common_share < std::max(kDrownedShare * clearest->common_share, kOnePart) &&
           scatters_more(r, clearest->jitter_us, kTicksScatter_us);
}

/// Levels against the sound ones, gain taken out; those are returned in `sound`.
std::vector<double> levels_of(std::span<const ProbedInjector> set, const ProbeRecording* clearest,
                              const std::vector<char>& ticks_only, std::vector<std::size_t>& sound) {
    std::vector<double> levels(set.size(), std::nan(""));
    // Ticks that are louder than any injector are no measure where several ring like parts.
    const auto parts = std::count_if(set.begin(), set.end(), [](const auto& p) { return one_part(p.recording); });
    const auto measure = [&](std::size_t i) {
        const auto& r = set[i].recording;
        return !r.spectrum.empty() && !ticks_only[i] && (parts < 2 || one_part(r));
    };
    std::size_t loudest = set.size();
    for (std::size_t i = 0; i < set.size(); ++i)
        if (measure(i) && (loudest == set.size() || set[i].recording.level_db > set[loudest].recording.level_db))
            loudest = i;
    if (loudest == set.size()) return levels;
    std::vector<double> reference = set[loudest].recording.spectrum;
    for (int round = 0; round < 2; ++round) {
        for (std::size_t i = 0; i < set.size(); ++i)
            if (!set[i].recording.spectrum.empty()) levels[i] = against(set[i].recording.spectrum, reference);
        double top = -std::numeric_limits<double>::infinity();
        for (std::size_t i = 0; i < set.size(); ++i)
            if (std::isfinite(levels[i]) && measure(i)) top = std::max(top, levels[i]);
        // One that stands alone above several alike is the odd one; were they all weak they would not agree.
        std::vector<double> below;
        std::size_t counted = 0;
        for (std::size_t i = 0; i < set.size(); ++i) {
            if (!std::isfinite(levels[i]) || drowned(set[i].recording, clearest)) continue;
            ++counted;
            if (levels[i] < top - kNearLoudest_db) below.push_back(levels[i]);
        }
        if (below.size() + 1 == counted && below.size() >= 3) {
            const auto [low, high] = std::minmax_element(below.begin(), below.end());
            if (*high - *low < 2.0 && *high > top - kLonely_db) top = *high;
        }
        sound.clear();
        for (std::size_t i = 0; i < set.size(); ++i)
            if (std::isfinite(levels[i]) && !ticks_only[i] && std::fabs(levels[i] - top) <= kNearLoudest_db)
                sound.push_back(i);
        reference = mean_spectrum(set, sound);
    }
    const auto gains = gains_of(set, levels, sound, reference);
    for (std::size_t i = 0; i < set.size(); ++i) levels[i] -= gains[i];
    const double zero = median_of(picked(levels, sound));
    for (auto& l : levels) l -= zero;
    return levels;
}

double spacing_tolerance_ms(double spacing_ms) { return std::max(kSpacing_ms, kSpacingShare * spacing_ms); }

bool opens_alike(double a_ms, double b_ms) { return std::fabs(b_ms - a_ms) <= spacing_tolerance_ms(a_ms); }

/// The clearest of a recording's opening times that is like the one given; without any the clearest of all, NaN if
/// there is none.
ProbeRecording::Spacing spacing_like(const ProbeRecording& r, double wanted_ms) {
    for (const auto& s : r.spacings)
        if (opens_alike(wanted_ms, s.ms)) return s;
    return r.spacings.empty() ? ProbeRecording::Spacing{std::nan(""), 0.0} : r.spacings.front();
}

struct Openings {
    double usual_ms = std::nan("");
    double rival_ms = std::nan("");  ///< another that as many share; NaN: there is none
};

/// The opening time that most share, each with `weight` (below 0: not asked); one of several that may be a recording's
/// counts as far as it is clear. A rival has as many votes from those that cannot be of the usual one.
Openings openings_of(std::span<const ProbedInjector> set, std::span<const double> weight) {
    Openings out;
    const auto votes_for = [&](double mine_ms, bool dissenters) {
        double votes = 0.0;
        double sum = 0.0;
        double count = 0.0;
        for (std::size_t k = 0; k < set.size(); ++k) {
            const auto s = spacing_like(set[k].recording, mine_ms);
            if (!opens_alike(mine_ms, s.ms) || weight[k] < 0.0) continue;
            if (dissenters && opens_alike(out.usual_ms, spacing_like(set[k].recording, out.usual_ms).ms)) continue;
            votes += weight[k] * s.rise;
            sum += s.ms;
            count += 1.0;
        }
        return std::pair{votes, sum / std::max(count, 1.0)};
    };
    const auto most_voted = [&](bool dissenters) {
        std::pair most{0.0, std::nan("")};
        for (const auto& p : set)
            for (const auto& s : p.recording.spacings)
                if (const auto votes = votes_for(s.ms, dissenters); votes.first > most.first) most = votes;
        return most;
    };
    const auto usual = most_voted(false);
    out.usual_ms = usual.second;
    const auto rival = most_voted(true);
    if (rival.first >= usual.first - kSplitVotes) out.rival_ms = rival.second;
    return out;
}

/// A faint one's level, as it counts for whether it is heard at all.
double faint_level_db(double level_db, const ProbeRecording& r) {
    const double less_db = r.level_db - r.power_level_db - kUsualLess_db;
    return less_db > 0.0 ? level_db - kPowerShare * std::min(less_db, kMostLess_db) : level_db;
}

/// The level below which only neighbours are heard where all open together, by how much more than the set's the clicks
/// scatter.
double silent_together_db(double jitter_us, double usual_us) {
    const double squares = jitter_us * jitter_us - usual_us * usual_us;
    if (!std::isfinite(squares)) return kSilentTogether_db;
    const double more_us = std::min(std::sqrt(std::max(squares, 0.0)), kMostScatter_us);
    return kSilentTogether_db + kScatter_db_per_us * (more_us - kTheirScatter_us);
}

bool stated_each_turn(const Engine& e) { return e.strokes == 4 && e.injection == Injection::simultaneous; }

/// The recording of steady clicks that share the most of a waveform; none: what the set's clicks are like is not known.
const ProbeRecording* clearest_part(std::span<const ProbedInjector> set) {
    const ProbeRecording* best = nullptr;
    for (const auto& p : set)
        if (p.recording.jitter_us < kSteady_us && (best == nullptr || p.recording.common_share > best->common_share))
            best = &p.recording;
    return best;
}

/// Something repeats, and nowhere does it ring as much alike and come as steadily as an injector's clicks.
bool no_part_at_all(std::span<const ProbedInjector> set, const ProbeRecording* clearest) {
    const bool heard = std::any_of(set.begin(), set.end(),
                                   [](const ProbedInjector& p) { return std::isfinite(p.recording.jitter_us); });
    return heard && (clearest == nullptr || clearest->common_share < kLeastAlike);
}

/// Which recordings hold the engine's own ticks and no more. What comes with every firing is the engine's, unless most
/// of the set hears it so: then it tells nothing.
std::vector<char> ticks_alone(std::span<const ProbedInjector> set, const ProbeRecording* clearest) {
    const auto alike =
        std::count_if(set.begin(), set.end(), [](const ProbedInjector& p) { return every_firing_alike(p.recording); });
    std::vector<char> out;
    for (const auto& p : set) {
        const bool with_each_firing = 2 * alike < std::ssize(set) && every_firing_alike(p.recording);
        out.push_back(with_each_firing || (drowned(p.recording, clearest) && p.recording.jitter_us > kTicks_us) ? 1
                                                                                                                : 0);
    }
    return out;
}

/// The strongest place is matched by another while a third is empty: the probed one does not click. For a recording
/// that stands alone.
bool own_place_empty(const ProbeRecording& r) {
    bool rival = false;
    bool empty = false;
    for (const auto& p : r.others) {
        rival = rival || (p.heard && p.level_db > kRival_db);
        empty = empty || !p.heard;
    }
    return rival && empty;
}

/// Some clicks are missing, and not only faint: interference and noise make single ones faint.
bool clicks_missing(const ProbeRecording& r, const InjectorReading& v, double least_share) {
    if (r.clearly_missed >= 2 || (r.clearly_missed == 1 && r.faintest_heard > kAlone)) return true;
    const bool gap = r.faintest_heard > kGap * r.loudest_missed;
    if (gap && v.missed >= 2 && v.missed >= kLeastMissedShare * v.due) return true;
    return least_share > kLeastMissedBlurred && v.missed > kTimesByScatter * (r.missed_by_scatter + 1.0);
}

}  // namespace

InjectorSet compare_injectors(std::span<const ProbedInjector> set, const Engine& engine) {
    check(engine);
    if (set.empty()) throw std::invalid_argument("compare_injectors: no recordings");
    InjectorSet out;
    std::vector<std::size_t> sound;
    const auto* clearest = clearest_part(set);
    auto ticks_only = ticks_alone(set, clearest);
    const auto levels = levels_of(set, clearest, ticks_only, sound);
    // As loud as the set in the bands of its clicks: an injector whose clicks come unevenly.
    for (std::size_t i = 0; i < set.size(); ++i)
        if (levels[i] >= kDoubtful_db && !every_firing_alike(set[i].recording)) ticks_only[i] = 0;

    std::vector<double> jitters;
    std::vector<double> speeds;
    int turns = 0;
    // What rings like a part tells how often a part clicks; the engine's ticks may come twice as often.
    const bool part_heard =
        std::any_of(sound.begin(), sound.end(), [&](std::size_t i) { return one_part(set[i].recording); });
    for (const std::size_t i : sound) {
        const auto& r = set[i].recording;
        if (std::isfinite(r.jitter_us)) jitters.push_back(r.jitter_us);
        if (one_part(r) || !part_heard) turns += r.each_turn ? 1 : -1;
    }
    for (const auto& p : set)
        if (std::isfinite(p.recording.rpm)) speeds.push_back(p.recording.rpm);
    out.rpm = median_of(speeds);
    out.no_part = no_part_at_all(set, clearest);
    double jitter_us = jitters.empty() ? std::nan("") : stats::quantile(jitters, 0.25);
    if (clearest != nullptr) jitter_us = std::fmin(jitter_us, clearest->jitter_us);
    out.each_turn = sound.empty() ? stated_each_turn(engine) : turns > 0 || (turns == 0 && stated_each_turn(engine));
    const bool together = out.each_turn && engine.injection != Injection::grouped;
    const auto by_places = together || engine.injection == Injection::grouped ? std::vector<double>(set.size(), 0.0)
                                                                              : silence_by_places(set, levels, engine);
    const auto unlike_scatter = [&](std::size_t i) {
        return !one_part(set[i].recording) && scatters_more(set[i].recording, jitter_us, kTicksScatter_us);
    };
    const auto silent_db = [&](std::size_t i) {
        if (together) return silent_together_db(set[i].recording.jitter_us, jitter_us);
        return kSilent_db + kPerPlaceCost_db * by_places[i] + (unlike_scatter(i) ? kUnlikeScatter_db : 0.0);
    };
    // A faint one has the less to say of the opening time the nearer its level is to a silent one's, and ticks have
    // nothing.
    std::vector<double> votes;
    for (std::size_t i = 0; i < set.size(); ++i) {
        if (!std::isfinite(levels[i]) || ticks_only[i]) {
            votes.push_back(-1.0);
            continue;
        }
        const double over_db = faint_level_db(levels[i], set[i].recording) - silent_db(i);
        const double own = together ? over_db / kFullVote_db : 0.5 + 0.5 * over_db / kFullVote_db;
        const double clear = together || one_part(set[i].recording) ? 1.0 : unlike_scatter(i) ? 0.0 : kUnclearVote;
        votes.push_back(std::clamp(own, 0.0, 1.0) * clear);
    }
    const auto [spacing_ms, rival_ms] = openings_of(set, votes);
    out.openings_split = std::isfinite(rival_ms);
    out.scheme_disagrees = !sound.empty() && engine.strokes == 4 && engine.injection != Injection::grouped &&
                           out.each_turn != stated_each_turn(engine);

    for (std::size_t i = 0; i < set.size(); ++i) {
        const auto& r = set[i].recording;
        InjectorReading v;
        v.cylinder = set[i].cylinder;
        v.rpm = r.rpm;
        const double speed = std::isfinite(r.rpm) ? r.rpm : out.rpm;
        const double cycle_hz = cycle_frequency(engine, Rpm{speed}).value;
        const bool file_turn = engine.injection == Injection::grouped ? out.each_turn : stated_each_turn(engine);
        v.expected_hz = cycle_hz * (file_turn ? 2.0 : 1.0);
        v.level_db = levels[i];

        const bool clicks = r.repeats && r.due > 0 && std::isfinite(levels[i]);
        const double open_close_ms = spacing_like(r, spacing_ms).ms;
        auto& why = v.reasons;
        if (clicks) {
            why.weaker = levels[i] < (together ? kWeakerTogether_db : kWeaker_db);
            why.louder = levels[i] > kLouder_db;
            why.spacing = set.size() > 1 && std::isfinite(spacing_ms) && std::isfinite(open_close_ms) &&
                          (out.openings_split || !opens_alike(spacing_ms, open_close_ms));
            why.jitter = scatters_more(r, jitter_us);
            // Neighbours' clicks are like the set's; what is unlike in these ways is the engine's.
            const bool other_opening = !one_part(r) && why.spacing && !out.openings_split;
            const bool other_rate = !one_part(r) && r.each_turn != out.each_turn;
            // No closing click where the set's are, nor on time as theirs: a valve's tick, however alike it rings. With
            // three cylinders ticks lie where the injectors' places are, and may hide a weak one.
            const bool valve = !together && set.size() > 3 && !out.openings_split && why.jitter &&
                               std::isfinite(spacing_ms) && !opens_alike(spacing_ms, open_close_ms);
            if (ticks_only[i] || valve)
                why.neighbours_only = true;
            else if (levels[i] >= kDoubtful_db)
                why.neighbours_only = (other_opening && (unlike_scatter(i) || std::isnan(r.jitter_us)) && other_rate) ||
                                      (set.size() == 1 && !together && own_place_empty(r));
            else if (together)
                why.neighbours_only = levels[i] < silent_db(i);
            else
                why.neighbours_only =
                    faint_level_db(levels[i], r) < silent_db(i) + (other_opening ? kUnlikeOpening_db : 0.0);
        }
        if (!clicks || why.neighbours_only) {
            v.verdict = InjectorVerdict::silent;
            v.missed_percent = v.missed_high_percent = 100.0;
            v.due = r.length_s > 0.0 && std::isfinite(cycle_hz)
                        ? static_cast<int>(r.length_s * cycle_hz * (out.each_turn ? 2.0 : 1.0))
                        : 0;
            v.missed = v.due;
            v.missed_low_percent = v.due > 0 ? 100.0 * stats::wilson_interval(v.missed, v.due).low : std::nan("");
            out.injectors.push_back(v);
            continue;
        }
        v.due = r.due;
        v.missed = r.missed;
        if (out.each_turn && !r.each_turn) {  // every second one never comes
            v.due = 2 * r.due;
            v.missed = r.missed + r.due;
        }
        why.twice_the_rate = r.each_turn && !out.each_turn;
        const auto interval = stats::wilson_interval(v.missed, v.due);
        v.missed_percent = 100.0 * v.missed / v.due;
        v.missed_low_percent = 100.0 * interval.low;
        v.missed_high_percent = 100.0 * interval.high;
        v.rate_hz = cycle_hz * (r.each_turn || out.each_turn ? 2.0 : 1.0) * (v.due - v.missed) / v.due;
        if (r.jitter_us > kLeastTold_us) v.jitter_us = r.jitter_us;
        v.jitter_deg = v.jitter_us * 1e-6 * speed * 6.0;
        v.open_close_ms = open_close_ms;
        const bool misses = clicks_missing(r, v, interval.low);
        const bool odd = why.weaker || why.louder || why.spacing || why.jitter || why.twice_the_rate;
        v.verdict = misses && !why.weaker && !drowned(r, clearest) ? InjectorVerdict::missing_clicks
                    : odd                                          ? InjectorVerdict::differs
                    : misses                                       ? InjectorVerdict::missing_clicks
                                                                   : InjectorVerdict::regular;
        out.injectors.push_back(v);
    }
    return out;
}

}  // namespace idlehark
