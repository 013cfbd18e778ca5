#include "dsp/compare/spot_pair.hpp"

#include "dsp/evidence/disturbances.hpp"
#include "dsp/evidence/response_bank.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

namespace idlehark {

namespace {

using namespace evidence;

constexpr double kStep_s = 0.25;
constexpr int kNoiseOrder = 40;
constexpr double kLongestDelay_s = 2.5;
constexpr double kKeepClear_s = 6.0;  // shams from answers
constexpr std::size_t kLeastShams = 40;
constexpr double kExpectedCounts = 4.0;

/// One visit's speed without load steps, whitened, and where each spot was sprayed in it.
struct Trace {
    Disturbances found;
    WhitenedTrace white;
    std::vector<std::vector<long>> cells;  // per spot

    static Trace of(const SprayedVisit& visit) {
        const auto raw = resample(visit.readings, kStep_s);
        auto found = find_disturbances(raw, kNoiseOrder);
        std::vector<std::vector<long>> cells(visit.answers.size());
        for (const auto& b : visit.bursts)
            if (const long cell = raw.index(b.found_onset_s.value_or(b.time_s));
                cell >= 0 && cell < static_cast<long>(raw.size()))
                cells[b.spot].push_back(cell);
        WhitenedTrace white(found.cleaned.rpm, found.cleaned.seen, found.noise);
        return {std::move(found), std::move(white), std::move(cells)};
    }
};

struct Sum {
    double score = 0.0, information = 0.0;
};

Sum summed(const Trace& t, std::size_t spot, const WhitenedTrace::Probe& probe, long delay) {
    Sum sum;
    for (const long cell : t.cells[spot]) {
        const auto s = t.white.score(probe, cell + delay);
        sum.score += s.score;
        sum.information += s.information;
    }
    return sum;
}

struct Answer {
    std::vector<double> shape;
    long delay;
};

/// The answer that explains the leaking spots of both visits best.
Answer common_answer(const std::array<Trace, 2>& traces, const std::vector<char>& wet, bool regulated) {
    Answer best{{}, std::lround(1.0 / kStep_s)};
    double most = 0.0;
    for (const auto& w : response_bank(regulated)) {
        const auto shape = sampled(w.shape, kStep_s, kTracker_s);
        if (best.shape.empty()) best.shape = shape;
        const std::array probes{traces[0].white.probe(shape), traces[1].white.probe(shape)};
        for (long delay = 1; delay <= std::lround(kLongestDelay_s / kStep_s); ++delay) {
            double gain = 2.0 * std::log(w.weight);
            for (std::size_t v = 0; v < 2; ++v)
                for (std::size_t s = 0; s < wet.size(); ++s) {
                    if (!wet[s]) continue;
                    const auto sum = summed(traces[v], s, probes[v], delay);
                    if (sum.information > 0.0) gain += sum.score * sum.score / sum.information;
                }
            if (most == 0.0 || gain > most) {
                most = gain;
                best = {shape, delay};
            }
        }
    }
    return best;
}

/// Load steps that the visit's own answers hid, and the unrest without those answers: left in, they pass for unrest.
void learn_without_answers(Trace& t, std::span<const char> answers, const WhitenedTrace::Probe& probe, long delay) {
    auto without = t.white;
    for (std::size_t s = 0; s < answers.size(); ++s) {
        const auto sum = summed(t, s, probe, delay);
        if (!answers[s] || !(sum.information > 0.0)) continue;
        for (const long cell : t.cells[s]) without.subtract(probe, cell + delay, sum.score / sum.information);
    }
    look_again(t.found, without.rpm(), kNoiseOrder);
    t.white = WhitenedTrace(t.found.cleaned.rpm, t.found.cleaned.seen, t.found.noise);
}

/// How much wider than the noise model has it the answers scatter where nothing was sprayed; never narrower.
double sham_scale(const Trace& t, const std::vector<char>& wet, const WhitenedTrace::Probe& probe, long delay) {
    const auto n = static_cast<long>(t.white.size());
    const long clear = std::lround(kKeepClear_s / t.found.cleaned.step_s);
    std::vector<double> z;
    for (long cell = 0; cell < n; ++cell) {
        bool free = true;
        for (std::size_t s = 0; s < wet.size() && free; ++s)
            for (const long b : t.cells[s]) free = free && (!wet[s] || std::abs(cell - b) >= clear);
        if (!free) continue;
        const auto s = t.white.score(probe, cell + delay);
        if (s.information > 0.0) z.push_back(s.score / std::sqrt(s.information));
    }
    if (z.size() < kLeastShams) return 1.0;
    return std::max(1.0, stats::kMadToSd * stats::median_absolute_deviation(z));
}

/// How much more the bursts of one visit disagree than unrest and uneven hands explain (Birge's ratio, R. T. Birge,
/// Phys. Rev. 40 (1932) 207): something else fell on one of them. Never below 1; three bursts tell their own scatter
/// poorly, so that the expected one counts as kExpectedCounts more.
double disagreement(const Trace& t, std::size_t spot, const WhitenedTrace::Probe& probe, long delay, double scale,
                    double mean) {
    double square = 0.0, n = 0.0;
    for (const long cell : t.cells[spot]) {
        const auto s = t.white.score(probe, cell + delay);
        if (!(s.information > 0.0)) continue;
        const double off = s.score / s.information - mean;
        const double hands = kSprayBurst_share * mean;
        square += off * off / (scale * scale / s.information + hands * hands);
        n += 1.0;
    }
    return n < 2.0 ? 1.0 : std::max(1.0, std::sqrt((square + kExpectedCounts) / (n - 1.0 + kExpectedCounts)));
}

FigureValue measured(const Trace& t, std::size_t spot, const WhitenedTrace::Probe& probe, long delay, double scale) {
    const auto sum = summed(t, spot, probe, delay);
    if (!(sum.information > 0.0)) return {};
    const double change = sum.score / sum.information;
    const auto bursts = static_cast<double>(t.cells[spot].size());
    return {.value = change,
            .sd = scale / std::sqrt(sum.information) * disagreement(t, spot, probe, delay, scale, change),
            .visit_sd = std::abs(change) * std::hypot(kSprayVisit_share, kSprayBurst_share / std::sqrt(bursts))};
}

}  // namespace

std::vector<FigurePair> spot_pairs(const SprayedVisit& before, const SprayedVisit& after, IdleControl idle_control) {
    if (before.answers.size() != after.answers.size())
        throw std::invalid_argument("the visits have not the same spots");
    std::vector<char> wet(before.answers.size());
    for (std::size_t s = 0; s < wet.size(); ++s) wet[s] = before.answers[s] || after.answers[s] ? 1 : 0;

    std::array traces{Trace::of(before), Trace::of(after)};
    const auto answer = common_answer(traces, wet, idle_control == IdleControl::regulated);
    std::vector<FigurePair> pairs(wet.size());
    for (std::size_t s = 0; s < wet.size(); ++s) {
        pairs[s].wish = Wish::nearer_zero;
        pairs[s].asked = wet[s] != 0;
    }
    for (std::size_t v = 0; v < 2; ++v) {
        auto& trace = traces[v];
        learn_without_answers(trace, v == 0 ? before.answers : after.answers, trace.white.probe(answer.shape),
                              answer.delay);
        const auto probe = trace.white.probe(answer.shape);
        const double scale = sham_scale(trace, wet, probe, answer.delay);
        for (std::size_t s = 0; s < wet.size(); ++s) {
            (v == 0 ? pairs[s].before : pairs[s].after) = measured(trace, s, probe, answer.delay, scale);
            const bool answered = (v == 0 ? before : after).answers[s] != 0;
            if (wet[s] && !answered)
                pairs[s].p_otherwise = std::pow(kSprayMiss_share, static_cast<double>(trace.cells[s].size()));
        }
    }
    return pairs;
}

}  // namespace idlehark
