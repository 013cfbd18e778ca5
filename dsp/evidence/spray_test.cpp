#include "dsp/evidence/spray_test.hpp"

#include "dsp/evidence/disturbances.hpp"
#include "dsp/evidence/disturbed_share.hpp"
#include "dsp/evidence/overspray.hpp"
#include "dsp/evidence/provable.hpp"
#include "dsp/evidence/sham_null.hpp"
#include "dsp/evidence/spot_odds.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <random>
#include <stdexcept>
#include <utility>

namespace idlehark {

namespace {

using namespace evidence;

constexpr double kStep_s = 0.25;
constexpr int kNoiseOrder = 40;  // 10 s: a full swing of the slowest hunting
constexpr double kShortestTrace_s = 10.0;
constexpr std::size_t kFewestCells = 20;  // for any noise to be learned from
constexpr double kShortestQuiet_s = 15.0;
constexpr double kOrdinaryCounts_s = 30.0;  // in a forecast, as so much of a quiet stretch
constexpr double kComesLater = 1.08;        // a session meets more than its quiet start: tests/bench
constexpr double kWorthSaying = 1.25;       // a session that much worse than foretold gets a note
constexpr int kShams = 2000;
constexpr double kBurstReach_s = 5.0;  // shams closer than this to each other meet the same unrest
constexpr double kKeepClear_s = 4.0;   // shams stay this far from the answers that were taken out
constexpr double kHeardAfter_s = 5.0;  // a burst counts if at least half of this stretch after it was heard
constexpr double kIntervalScale_rpm = 30.0;
constexpr double kLeftOver = 0.1;   // of an answer, after it was taken out
constexpr double kBeside_s = 30.0;  // bursts so near each other meet what is left
// Log odds of a leak of its own against a leaking neighbour's spray, above which it counts as its own; more where there
// are several such spots, as each is a chance of a false leak.
constexpr double kOwnLeak_log_odds = 1.0;
constexpr double kNoneSeenRisk = 0.015;

void check(std::span<const SprayBurst> bursts, std::span<const SpraySpot> spots, const SprayTestConfig& c) {
    if (!(c.matters_rpm >= 1.0 && c.matters_rpm <= 200.0))
        throw std::invalid_argument("matters_rpm " + std::to_string(c.matters_rpm) + " is not 1..200");
    if (!(c.familywise_error >= 0.001 && c.familywise_error <= 0.5))
        throw std::invalid_argument("familywise_error " + std::to_string(c.familywise_error) + " is not 0.001..0.5");
    for (const auto& b : bursts) {
        if (b.spot >= spots.size())
            throw std::invalid_argument("a burst names spot " + std::to_string(b.spot) + ", not on the map");
        if (!std::isfinite(b.time_s)) throw std::invalid_argument("a burst's time is not a number");
    }
}

double step_for(std::span<const RpmReading> readings) {
    std::vector<double> gaps;
    for (std::size_t i = 1; i < readings.size(); ++i) gaps.push_back(readings[i].time_s - readings[i - 1].time_s);
    return gaps.empty() ? kStep_s : std::max(kStep_s, stats::median(gaps));
}

/// Posterior quantile over the grid, linear between the points.
struct Posterior {
    std::vector<double> cumulative;
    const std::vector<double>& rpm;

    Posterior(const ChangeGrid& grid, std::span<const double> log_likelihood) : rpm(grid.rpm) {
        const double top = *std::max_element(log_likelihood.begin(), log_likelihood.end());
        std::vector<double> density;
        for (std::size_t i = 0; i < rpm.size(); ++i) {
            const double u = rpm[i] / kIntervalScale_rpm;
            density.push_back(std::exp(log_likelihood[i] - top) / (1.0 + u * u));
        }
        cumulative.assign(rpm.size(), 0.0);
        for (std::size_t i = 1; i < rpm.size(); ++i)
            cumulative[i] = cumulative[i - 1] + 0.5 * (density[i] + density[i - 1]) * (rpm[i] - rpm[i - 1]);
        for (double& c : cumulative) c /= cumulative.back();
    }
    [[nodiscard]] double quantile(double p) const {
        const auto at = std::lower_bound(cumulative.begin(), cumulative.end(), p);
        const auto i = static_cast<std::size_t>(std::max<long>(1, at - cumulative.begin()));
        const double width = cumulative[i] - cumulative[i - 1];
        return rpm[i - 1] + (rpm[i] - rpm[i - 1]) * (width > 0.0 ? (p - cumulative[i - 1]) / width : 0.5);
    }
    [[nodiscard]] double beyond(double size) const {
        const auto share_below = [&](double v) {
            if (v <= rpm.front()) return 0.0;
            if (v >= rpm.back()) return 1.0;
            const auto at = std::lower_bound(rpm.begin(), rpm.end(), v);
            const auto i = static_cast<std::size_t>(std::max<long>(1, at - rpm.begin()));
            return cumulative[i - 1] + (cumulative[i] - cumulative[i - 1]) * (v - rpm[i - 1]) / (rpm[i] - rpm[i - 1]);
        };
        return share_below(-size) + 1.0 - share_below(size);
    }
};

std::size_t likeliest(std::span<const double> weights, std::span<const double> log_odds) {
    std::size_t best = 0;
    for (std::size_t a = 1; a < weights.size(); ++a)
        if (std::log(weights[a]) + log_odds[a] > std::log(weights[best]) + log_odds[best]) best = a;
    return best;
}

/// A spot on its way to a verdict.
struct Candidate {
    BurstGroup group;
    bool wet = false;        ///< proven: leak or overspray
    bool left_over = false;  ///< what it shows may be the rest of a larger answer
    bool either = false;     ///< it leaks, or a neighbour that could not be proven
    double p_value = 1.0;
    double change_rpm = 0.0;
    std::vector<double> answers;  ///< log odds of each answer, when it was proven
};

double hunting_amplitude(const Disturbances& d) {
    // Mean square in the band, from the learned spectrum.
    const auto c = d.noise.whitening();
    double power = 0.0;
    constexpr double kLow_hz = 0.08, kHigh_hz = 0.6, kFine_hz = 0.002;
    for (double f = kLow_hz; f < kHigh_hz; f += kFine_hz) {
        double re = 0.0, im = 0.0;
        for (std::size_t k = 0; k < c.size(); ++k) {
            const double phase = 2.0 * std::acos(-1.0) * f * d.cleaned.step_s * static_cast<double>(k);
            re += c[k] * std::cos(phase);
            im += c[k] * std::sin(phase);
        }
        power += 2.0 * d.cleaned.step_s * kFine_hz / (re * re + im * im);
    }
    return std::sqrt(2.0 * power) * d.noise.innovation_rpm;
}

class Session {
   public:
    Session(const SpeedTrace& trace, Disturbances disturbances, std::span<const SprayBurst> bursts,
            std::span<const SpraySpot> spots, const SprayTestConfig& config)
        : config_(config),
          spots_(spots),
          disturbances_(std::move(disturbances)),
          residual_(disturbances_.cleaned.rpm, disturbances_.cleaned.seen, disturbances_.noise),
          shapes_(response_bank(config.idle_control == IdleControl::regulated)),
          candidates_(spots.size()),
          sprayed_(spots.size()) {
        for (std::size_t s = 0; s < spots.size(); ++s)
            if (const auto& place = spots[s].place) sprayed_[s] = {true, place->x_mm, place->y_mm, false, 0.0, 0.0, {}};
        for (const auto& b : bursts) {
            const long cell = trace.index(b.found_onset_s.value_or(b.time_s));
            const long after = std::lround(kHeardAfter_s / trace.step_s);
            long heard = 0;
            for (long i = cell; i < cell + after; ++i)
                heard += i >= 0 && i < static_cast<long>(trace.size()) && trace.seen[static_cast<std::size_t>(i)];
            if (cell < 0 || 2 * heard < after) continue;
            candidates_[b.spot].group.cells.push_back(cell);
            candidates_[b.spot].group.sharp.push_back(b.found_onset_s.has_value());
        }
    }

    void find_leaks();
    void fill(SprayTestResult& result);
    [[nodiscard]] const std::vector<WeightedShape>& shapes() const { return shapes_; }
    [[nodiscard]] const Disturbances& disturbances() const { return disturbances_; }
    [[nodiscard]] bool left_over(std::size_t spot) const { return candidates_[spot].left_over; }
    [[nodiscard]] bool either(std::size_t spot) const { return candidates_[spot].either; }

   private:
    [[nodiscard]] std::vector<double> answer_weights(const AnswerBank& bank) const;
    [[nodiscard]] std::map<std::size_t, ShamNull> shams(AnswerBank& bank, std::span<const double> weights,
                                                        std::span<const std::size_t> dry);
    /// Whether so small a change may be what is left of a proven spot's answer: sprayed at the same distance from it
    /// round after round, which no sham is.
    [[nodiscard]] bool could_be_left_over(const Candidate& c) const;
    /// Which proven spots leak, from the largest change down, and which only get what drifts over from those.
    void tell_overspray(SprayTestResult& result, const ChangeGrid& grid);

    SprayTestConfig config_;
    std::span<const SpraySpot> spots_;
    Disturbances disturbances_;
    WhitenedTrace residual_;  // without the answers of the spots proven so far
    std::vector<WeightedShape> shapes_;
    std::vector<Candidate> candidates_;
    std::vector<SprayedSpot> sprayed_;
    HandModel hands_;
    std::size_t round_ = 0;
};

std::vector<double> Session::answer_weights(const AnswerBank& bank) const {
    std::vector<double> log_odds(bank.prior().size(), 0.0);
    bool any = false;
    for (const auto& c : candidates_)
        if (c.wet)
            for (std::size_t a = 0; a < log_odds.size(); ++a) {
                log_odds[a] += std::max(-1e6, c.answers[a]);
                any = true;
            }
    return any ? agreed_answers(bank.prior(), log_odds) : bank.prior();
}

std::map<std::size_t, ShamNull> Session::shams(AnswerBank& bank, std::span<const double> weights,
                                               std::span<const std::size_t> dry) {
    // Cells where a burst could have been: heard for long enough, and clear of
    // the answers taken out.
    const auto n = static_cast<long>(residual_.size());
    const double step_s = disturbances_.cleaned.step_s;
    std::vector<char> allowed(residual_.seen().begin(), residual_.seen().end());
    for (long i = 0; i < n; ++i)
        if (i < static_cast<long>(residual_.noise().ar.size()) || i > n - std::lround(2.0 * kHeardAfter_s / step_s))
            allowed[static_cast<std::size_t>(i)] = 0;
    const long clear = std::lround(kKeepClear_s / step_s);
    for (const auto& c : candidates_)
        for (const long cell : c.group.cells)
            for (long i = std::max(0L, cell - clear); c.wet && i < std::min(n, cell + clear); ++i)
                allowed[static_cast<std::size_t>(i)] = 0;
    std::vector<long> places;
    for (long i = 0; i < n; ++i)
        if (allowed[static_cast<std::size_t>(i)]) places.push_back(i);
    std::map<std::size_t, ShamNull> nulls;
    if (places.empty()) return nulls;

    std::map<std::size_t, std::vector<std::size_t>> by_count;
    for (const std::size_t s : dry) by_count[candidates_[s].group.cells.size()].push_back(s);
    std::mt19937_64 random(config_.seed + 1000003 * round_);
    std::uniform_int_distribution<std::size_t> any_place(0, places.size() - 1);
    for (const auto& [count, members] : by_count) {
        std::vector<BurstGroup> groups(kShams);
        for (std::size_t g = 0; g < groups.size(); ++g) {
            groups[g].sharp = candidates_[members[g % members.size()]].group.sharp;
            for (std::size_t k = 0; k < count; ++k) groups[g].cells.push_back(places[any_place(random)]);
        }
        nulls.emplace(count, ShamNull(bank.log_odds(groups, weights),
                                      static_cast<double>(places.size()) * step_s / kBurstReach_s));
    }
    return nulls;
}

bool Session::could_be_left_over(const Candidate& c) const {
    return std::any_of(candidates_.begin(), candidates_.end(), [&](const Candidate& large) {
        if (!large.wet || std::abs(c.change_rpm) > kLeftOver * std::abs(large.change_rpm)) return false;
        const auto beside = std::count_if(c.group.cells.begin(), c.group.cells.end(), [&](long cell) {
            return std::any_of(large.group.cells.begin(), large.group.cells.end(), [&](long other) {
                return static_cast<double>(std::abs(cell - other)) * disturbances_.cleaned.step_s < kBeside_s;
            });
        });
        return 2 * beside > std::ssize(c.group.cells);
    });
}

void Session::find_leaks() {
    double floor_p = 0.0;
    std::vector<long> all_bursts;
    for (const auto& c : candidates_) all_bursts.insert(all_bursts.end(), c.group.cells.begin(), c.group.cells.end());
    for (;; ++round_) {
        std::vector<std::size_t> dry;
        for (std::size_t s = 0; s < candidates_.size(); ++s)
            if (!candidates_[s].wet && !candidates_[s].group.cells.empty()) dry.push_back(s);
        if (dry.empty()) return;
        hands_.disturbed =
            disturbed_share(residual_, disturbances_.cleaned.step_s, shapes_, all_bursts, hands_.disturbance_rpm);
        AnswerBank bank(residual_, disturbances_.cleaned.step_s, shapes_, hands_);
        const auto weights = answer_weights(bank);
        std::vector<BurstGroup> groups;
        groups.reserve(dry.size());
        for (const std::size_t s : dry) groups.push_back(candidates_[s].group);
        const auto odds = bank.odds(groups, weights);
        const auto nulls = shams(bank, weights, dry);
        if (nulls.empty()) return;

        std::vector<std::pair<double, std::size_t>> proven;  // size of change, place in `dry`
        for (std::size_t k = 0; k < dry.size(); ++k) {
            auto& c = candidates_[dry[k]];
            const auto& null = nulls.at(c.group.cells.size());
            const double p = static_cast<double>(dry.size()) * null.p_value(odds[k].log_odds);
            c.p_value = std::clamp(p, floor_p, 1.0);
            const Posterior posterior(bank.grid(), odds[k].curve);
            c.change_rpm = posterior.quantile(0.5);
            c.left_over = c.p_value <= config_.familywise_error && could_be_left_over(c);
            if (c.p_value <= config_.familywise_error && !c.left_over) proven.emplace_back(std::abs(c.change_rpm), k);
        }
        if (proven.empty()) return;
        // One at a time: while the largest answer is in the trace, others may only seem to be proven.
        const std::size_t k = std::max_element(proven.begin(), proven.end())->second;
        auto& c = candidates_[dry[k]];
        c.wet = true;
        c.answers = odds[k].answers;
        floor_p = std::max(floor_p, c.p_value);
        bank.remove(residual_, c.group, likeliest(answer_weights(bank), c.answers), c.change_rpm);
        const auto rest = look_again(disturbances_, residual_.rpm(), kNoiseOrder);
        residual_ = WhitenedTrace(rest.rpm, rest.seen, disturbances_.noise);
    }
}

void Session::fill(SprayTestResult& result) {
    result.spots.resize(spots_.size());
    const double step_s = disturbances_.cleaned.step_s;
    // Wet spots are weighed in the trace without the others: the trace without
    // all, and their own answer put back, is the trace from which only the others
    // were taken.
    AnswerBank dry_bank(residual_, step_s, shapes_, hands_);
    const auto weights = answer_weights(dry_bank);
    std::vector<SpotOdds> odds(spots_.size());
    for (std::size_t s = 0; s < spots_.size(); ++s) {
        auto& out = result.spots[s];
        const auto& c = candidates_[s];
        out.bursts = static_cast<int>(c.group.cells.size());
        out.p_value = c.p_value;
        if (c.group.cells.empty()) continue;
        if (c.wet) {
            WhitenedTrace others(disturbances_.cleaned.rpm, disturbances_.cleaned.seen, disturbances_.noise);
            AnswerBank bank(others, step_s, shapes_, hands_);
            for (std::size_t o = 0; o < spots_.size(); ++o) {
                if (o == s || !candidates_[o].wet) continue;
                const std::size_t best = likeliest(weights, candidates_[o].answers);
                bank.remove(others, candidates_[o].group, best, candidates_[o].change_rpm);
            }
            odds[s] = bank.odds(std::span(&c.group, 1), weights).front();
        } else {
            odds[s] = dry_bank.odds(std::span(&c.group, 1), weights).front();
        }
        const Posterior posterior(dry_bank.grid(), odds[s].curve);
        out.change_rpm = posterior.quantile(0.5);
        out.low_rpm = posterior.quantile(0.025);
        out.high_rpm = posterior.quantile(0.975);
        sprayed_[s].change_rpm = out.change_rpm;
        sprayed_[s].spread_rpm = 0.5 * (posterior.quantile(0.84) - posterior.quantile(0.16));
        sprayed_[s].log_curve = odds[s].curve;
        out.log_curve = odds[s].curve;
        if (c.wet) {
            std::vector<double> mass(weights.size());
            const double top = *std::max_element(odds[s].answers.begin(), odds[s].answers.end());
            double sum = 0.0, delay = 0.0;
            for (std::size_t a = 0; a < weights.size(); ++a) {
                const double m = weights[a] * std::exp(odds[s].answers[a] - top);
                sum += m;
                delay += m * dry_bank.delay_s(a);
            }
            out.delay_s = delay / sum;
        } else if (posterior.beyond(config_.matters_rpm) <= kNoneSeenRisk) {
            out.verdict = SprayVerdict::none_seen;
        }
    }
    tell_overspray(result, dry_bank.grid());
}

void Session::tell_overspray(SprayTestResult& result, const ChangeGrid& grid) {
    std::vector<std::size_t> wet;
    for (std::size_t s = 0; s < spots_.size(); ++s)
        if (candidates_[s].wet) wet.push_back(s);
    std::sort(wet.begin(), wet.end(), [&](std::size_t a, std::size_t b) {
        return std::abs(sprayed_[a].change_rpm) > std::abs(sprayed_[b].change_rpm);
    });
    std::size_t receivers = 0;  // each is a chance of a false leak
    for (const std::size_t s : wet) {
        auto& verdict = result.spots[s].verdict;
        // A larger change that could not be proven, as when its bursts missed, may drift over all the same.
        const auto look_at_unproven = [&](bool look) {
            for (std::size_t o = 0; o < spots_.size(); ++o)
                if (!candidates_[o].wet)
                    sprayed_[o].source = look && std::abs(sprayed_[o].change_rpm) > std::abs(sprayed_[s].change_rpm);
        };
        look_at_unproven(true);
        verdict = SprayVerdict::leak;
        if (has_leaking_neighbour(sprayed_, s)) {
            const double needed = kOwnLeak_log_odds + std::log(static_cast<double>(++receivers));
            const auto explained = [&] {
                return has_leaking_neighbour(sprayed_, s) && own_leak_log_odds(sprayed_, s, grid.rpm) < needed;
            };
            if (explained()) {
                look_at_unproven(false);
                candidates_[s].either = !explained();
                verdict = candidates_[s].either ? SprayVerdict::undecided : SprayVerdict::overspray;
            }
        }
        sprayed_[s].source = verdict == SprayVerdict::leak;
        // A verdict does not speak against its own interval.
        if (verdict == SprayVerdict::leak && result.spots[s].low_rpm <= 0.0 && result.spots[s].high_rpm >= 0.0)
            verdict = SprayVerdict::undecided;
    }
}

std::string rounded(double v) { return std::to_string(std::lround(v)); }

std::string counted(std::size_t n, const char* one, const char* many) {
    return std::to_string(n) + " " + (n == 1 ? one : many);
}

}  // namespace

SprayTestResult evaluate_spray(std::span<const RpmReading> readings, std::span<const SprayBurst> bursts,
                               std::span<const SpraySpot> spots, const SprayTestConfig& config) {
    check(bursts, spots, config);
    SprayTestResult result;
    result.spots.resize(spots.size());
    const SpeedTrace trace = resample(readings, step_for(readings));
    std::vector<double> heard;
    for (std::size_t i = 0; i < trace.size(); ++i)
        if (trace.seen[i]) heard.push_back(trace.rpm[i]);
    if (!heard.empty()) result.idle_rpm = stats::median(heard);
    if (static_cast<double>(heard.size()) * trace.step_s < kShortestTrace_s || heard.size() < kFewestCells) {
        result.notes.emplace_back(
            "The idle speed was heard for less than 10 s: too little to judge "
            "any spot.");
        return result;
    }
    Session session(trace, find_disturbances(trace, kNoiseOrder), bursts, spots, config);
    result.hunting_rpm = hunting_amplitude(session.disturbances());
    session.find_leaks();
    session.fill(result);

    // Foretold from the quiet stretch before the first burst.
    std::vector<double> counts;
    std::vector<int> per_spot(spots.size(), 0);
    double first_s = std::numeric_limits<double>::infinity();
    for (const auto& b : bursts) {
        ++per_spot[b.spot];
        first_s = std::min(first_s, b.found_onset_s.value_or(b.time_s));
    }
    int sprayed = 0;
    for (const int n : per_spot)
        if (n > 0) {
            counts.push_back(n);
            ++sprayed;
        }
    if (sprayed > 0) {
        const int usual = static_cast<int>(std::lround(stats::median(counts)));
        const auto quiet_end = std::find_if(readings.begin(), readings.end(),
                                            [&](const RpmReading& r) { return r.time_s >= first_s - 0.5; });
        result.smallest_provable_rpm = smallest_provable_rpm(
            readings.first(static_cast<std::size_t>(quiet_end - readings.begin())), sprayed, usual, config);
        const auto& d = session.disturbances();
        result.achieved_provable_rpm =
            provable_change(d.noise, d.cleaned.step_s, session.shapes(), usual, sprayed, config.familywise_error);
        if (std::isnan(result.smallest_provable_rpm))
            result.notes.emplace_back(
                "Less than 15 s of idle before the first burst: the smallest "
                "provable change could not be foretold.");
        else if (result.achieved_provable_rpm > kWorthSaying * result.smallest_provable_rpm)
            result.notes.push_back(
                "The session was more restless than its quiet start: what it proves in four cases of "
                "five is a change of " +
                rounded(result.achieved_provable_rpm) + " rpm, not of " + rounded(result.smallest_provable_rpm) +
                " rpm.");
    }

    // Notes: what might fool this result.
    const auto& steps = session.disturbances().steps;
    if (!steps.empty())
        result.notes.push_back(counted(steps.size(), "load step was", "load steps were") +
                               " found in the idle and taken out (fan, lamps, idle valve, or the "
                               "engine's own).");
    const bool placed = std::all_of(spots.begin(), spots.end(), [](const SpraySpot& s) { return s.place.has_value(); });
    if (!placed)
        result.notes.emplace_back(
            "Not every spot has a place on the map: spray that drifts onto a "
            "neighbour cannot be told from a leak of "
            "its own there.");
    if (config.idle_control == IdleControl::regulated)
        result.notes.emplace_back(
            "The idle is regulated: the valve takes changes back within seconds "
            "and may hide a small or slow leak; "
            "only the first seconds after each burst tell.");
    for (std::size_t s = 0; s < spots.size(); ++s) {
        const auto& r = result.spots[s];
        if (r.bursts < per_spot[s])
            result.notes.emplace_back(
                "Spot " + spots[s].id + ": " +
                counted(static_cast<std::size_t>(per_spot[s] - r.bursts), "burst falls", "bursts fall") +
                " where the idle speed was not heard.");
        if (r.bursts == 1 && r.verdict == SprayVerdict::undecided)
            result.notes.push_back("Spot " + spots[s].id +
                                   ": a single burst may have missed; spray it "
                                   "again to rule it out.");
        if (session.left_over(s))
            result.notes.push_back("Spot " + spots[s].id +
                                   ": always sprayed just before or after one that answers much more, which may leave "
                                   "such a change over; spray in another order, or again once that leak is mended.");
        if (session.either(s))
            result.notes.push_back(
                "Spot " + spots[s].id +
                ": it leaks, or a spot beside it that changes more but is not proven; spray that one "
                "again, and this one with a rag between them.");
        if (r.verdict == SprayVerdict::overspray)
            result.notes.push_back("Spot " + spots[s].id +
                                   ": spray drifting onto a leaking neighbour "
                                   "explains its change; test it again once "
                                   "that leak is mended.");
    }
    return result;
}

double smallest_provable_rpm(std::span<const RpmReading> quiet, int spots, int bursts_per_spot,
                             const SprayTestConfig& config) {
    const SpeedTrace trace = resample(quiet, step_for(quiet));
    const auto seen = std::count_if(trace.seen.begin(), trace.seen.end(), [](char s) { return s != 0; });
    if (static_cast<double>(seen) * trace.step_s < kShortestQuiet_s || seen < std::ptrdiff_t{kFewestCells} ||
        spots < 1 || bursts_per_spot < 1)
        return std::numeric_limits<double>::quiet_NaN();
    // A short stretch tells the slow half of the unrest poorly: the ordinary idle has its say, less the longer it is.
    const auto provable = [&](const ColouredNoise& noise) {
        return provable_change(noise, trace.step_s, response_bank(config.idle_control == IdleControl::regulated),
                               bursts_per_spot, spots, config.familywise_error);
    };
    const double heard_s = static_cast<double>(seen) * trace.step_s;
    const double own = heard_s / (heard_s + kOrdinaryCounts_s);
    return kComesLater * std::pow(provable(find_disturbances(trace, kNoiseOrder).noise), own) *
           std::pow(provable(usual_noise(kNoiseOrder, trace.step_s)), 1.0 - own);
}

}  // namespace idlehark
