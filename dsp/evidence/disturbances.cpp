#include "dsp/evidence/disturbances.hpp"

#include "dsp/evidence/response_bank.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

namespace idlehark::evidence {

namespace {

constexpr int kRounds = 8;
constexpr double kStepStandsOut_sd = 4.0;  // a false one in some sessions: taking it out costs little
constexpr double kStandsOut_sd = 5.0;
constexpr double kStepHandicap = 3.0;  // in z squared: an answer to spray must not be taken for a step
constexpr double kApart_s = 12.0;      // picks of one round do not overlap
constexpr double kRiseTimes_s[] = {0.05, 0.3, 0.8, 2.0};
constexpr double kLapseReturns_s[] = {0.3, 0.6, 1.0};
constexpr double kLapseWatched_returns = 4.0;

/// A fall at once, `late_s` after the beginning of the first cell, and an exponential return; as a tracker smooths it.
std::vector<double> lapse_shape(double return_s, double late_s, double step_s) {
    const auto since = [&](double t) { return t <= 0.0 ? 0.0 : -return_s * std::expm1(-t / return_s); };
    std::vector<double> shape;
    for (double t = 0.5 * step_s - late_s; t < kLapseWatched_returns * return_s; t += step_s)
        shape.push_back((since(t + 0.5 * kTracker_s) - since(t - 0.5 * kTracker_s)) / kTracker_s);
    return shape;
}

enum class Kind { step, transient, lapse, glitch };

struct Entry {
    Kind kind;
    double rise_s;
    WhitenedTrace::Probe probe;
};

struct Pick {
    double gain = 0.0;  // z squared
    double amount = 0.0;
    long cell = 0;
    std::size_t entry = 0;
};

std::vector<Entry> dictionary(const WhitenedTrace& white, double step_s) {
    std::vector<Entry> entries;
    for (const double rise_s : kRiseTimes_s)
        entries.push_back({Kind::step, rise_s, white.probe(lasting_step(rise_s, step_s), true)});
    for (const auto& w : response_bank(false))
        if (w.shape.hold_s < 2.0 && w.shape.regulation_s != 2.0)
            entries.push_back({Kind::transient, 0.0, white.probe(sampled(w.shape, step_s, kTracker_s))});
    for (const double return_s : kLapseReturns_s)
        for (const double late_s : {0.0, 0.5 * step_s})
            entries.push_back({Kind::lapse, 0.0, white.probe(lapse_shape(return_s, late_s, step_s))});
    entries.push_back({Kind::glitch, 0.0, white.probe({1.0})});
    return entries;
}

/// Local winners over all shapes, the strongest first, none within kApart_s of a stronger one.
std::vector<Pick> picks(const WhitenedTrace& white, const std::vector<Entry>& entries, double step_s) {
    const auto n = static_cast<long>(white.size());
    std::vector<Pick> best(static_cast<std::size_t>(n));
    for (std::size_t e = 0; e < entries.size(); ++e) {
        for (long cell = static_cast<long>(white.noise().ar.size()); cell < n - 3; ++cell) {
            const auto s = white.score(entries[e].probe, cell);
            if (s.information <= 0.0) continue;
            double gain = s.score * s.score / s.information;
            if (entries[e].kind == Kind::step) gain -= kStepHandicap;
            if (gain > best[static_cast<std::size_t>(cell)].gain)
                best[static_cast<std::size_t>(cell)] = {gain, s.score / s.information, cell, e};
        }
    }
    std::erase_if(best, [](const Pick& p) { return p.gain < kStepStandsOut_sd * kStepStandsOut_sd - kStepHandicap; });
    std::sort(best.begin(), best.end(), [](const Pick& a, const Pick& b) { return a.gain > b.gain; });
    std::vector<Pick> kept;
    const auto apart = static_cast<long>(kApart_s / step_s);
    for (const auto& p : best)
        if (std::none_of(kept.begin(), kept.end(), [&](const Pick& k) { return std::abs(k.cell - p.cell) < apart; }))
            kept.push_back(p);
    // Only now: a transient too weak to take out still keeps its place from being called a step.
    std::erase_if(kept, [&](const Pick& p) {
        return entries[p.entry].kind != Kind::step && p.gain < kStandsOut_sd * kStandsOut_sd;
    });
    return kept;
}

}  // namespace

Disturbances find_disturbances(const SpeedTrace& trace, int noise_order) {
    Disturbances found;
    found.cleaned = trace;
    SpeedTrace quiet = trace;
    found.noise = learn_noise(quiet.rpm, quiet.seen, noise_order, trace.step_s);
    for (int round = 0; round < kRounds; ++round) {
        const WhitenedTrace white(quiet.rpm, quiet.seen, found.noise);
        const auto entries = dictionary(white, trace.step_s);
        const auto taken = picks(white, entries, trace.step_s);
        if (taken.empty()) break;
        quiet.rpm = white.rpm();
        for (const auto& p : taken) {
            const auto& entry = entries[p.entry];
            if (entry.kind == Kind::glitch) {
                quiet.seen[static_cast<std::size_t>(p.cell)] = 0;
                found.cleaned.seen[static_cast<std::size_t>(p.cell)] = 0;
                continue;
            }
            const auto n = static_cast<long>(trace.size());
            if (entry.kind == Kind::step) {
                found.steps.push_back({trace.time_s(static_cast<std::size_t>(p.cell)), p.amount, entry.rise_s});
                for (long i = p.cell; i < n; ++i) {
                    const double v =
                        p.amount * step_risen((static_cast<double>(i - p.cell) + 0.5) * trace.step_s, entry.rise_s);
                    quiet.rpm[static_cast<std::size_t>(i)] -= v;
                    found.cleaned.rpm[static_cast<std::size_t>(i)] -= v;
                }
            } else {
                const auto length = static_cast<long>(entry.probe.shape.size());
                for (long i = p.cell; i < std::min(n, p.cell + length); ++i) {
                    const double v = p.amount * entry.probe.shape[static_cast<std::size_t>(i - p.cell)];
                    quiet.rpm[static_cast<std::size_t>(i)] -= v;
                    if (entry.kind == Kind::lapse) found.cleaned.rpm[static_cast<std::size_t>(i)] -= v;
                }
            }
        }
        found.noise = learn_noise(quiet.rpm, quiet.seen, noise_order, trace.step_s);
    }
    std::sort(found.steps.begin(), found.steps.end(),
              [](const FoundStep& a, const FoundStep& b) { return a.time_s < b.time_s; });
    return found;
}

SpeedTrace look_again(Disturbances& found, std::vector<double> without_answers, int noise_order) {
    SpeedTrace rest = found.cleaned;
    rest.rpm = std::move(without_answers);
    auto again = find_disturbances(rest, noise_order);
    for (std::size_t i = 0; i < rest.size(); ++i) found.cleaned.rpm[i] -= rest.rpm[i] - again.cleaned.rpm[i];
    found.cleaned.seen = again.cleaned.seen;
    found.steps.insert(found.steps.end(), again.steps.begin(), again.steps.end());
    found.noise = again.noise;
    return std::move(again.cleaned);
}

}  // namespace idlehark::evidence
