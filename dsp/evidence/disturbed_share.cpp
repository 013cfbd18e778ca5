#include "dsp/evidence/disturbed_share.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace idlehark::evidence {

namespace {

constexpr double kStretch_s = 1.0;  // within which a burst's answer is looked for
constexpr double kBefore_s = 1.0;   // of a mark, that may be late
constexpr double kAnswer_s =
    6.0;  // after it, something may begin that is an answer; what is heard tells of itself so far
constexpr double kSure = 1000.0;  // times likelier than nothing
constexpr double kUsual = 0.01;   // before anything is heard, and what that weighs, in stretches
constexpr double kUsualCounts = 20.0;
constexpr double kMost = 1e6;  // times likelier: more changes nothing
constexpr int kRounds = 50;

}  // namespace

double log_dose(const WhitenedTrace::Score& heard, double mean_rpm, double spread_rpm) {
    // The integral of exp(b s - b^2 info / 2) over b ~ N(mean, v) in closed form.
    const auto [s, info] = heard;
    const double v = spread_rpm * spread_rpm;
    const double d = 1.0 + v * info;
    return -0.5 * std::log(d) + (mean_rpm * s - 0.5 * mean_rpm * mean_rpm * info + 0.5 * v * s * s) / d;
}

double disturbed_share(const WhitenedTrace& trace, double step_s, std::span<const WeightedShape> shapes,
                       std::span<const long> bursts, double change_rpm) {
    const auto n = static_cast<long>(trace.size());
    std::vector<double> odds(trace.size(), 0.0);  // that something begins here, against nothing
    const auto ask = [&](const WhitenedTrace::Probe& probe, double weight) {
        for (long i = 0; i < n; ++i)
            odds[static_cast<std::size_t>(i)] +=
                weight * std::min(kMost, std::exp(log_dose(trace.score(probe, i), 0.0, change_rpm)));
    };
    ask(trace.probe(lasting_step(kLoadRise_s, step_s), true), kLastingShare);
    for (const auto& w : shapes)
        ask(trace.probe(sampled(w.shape, step_s, kTracker_s)), (1.0 - kLastingShare) * w.weight);

    std::vector<char> free(trace.seen().begin(), trace.seen().end());
    for (const long cell : bursts)
        for (long i = cell - std::lround(kBefore_s / step_s); i < cell + std::lround(kAnswer_s / step_s); ++i)
            if (i >= 0 && i < n) free[static_cast<std::size_t>(i)] = 0;
    struct Stretch {
        double odds;
        long cell;
    };
    const long wanted = std::lround(kStretch_s / step_s);
    std::vector<Stretch> all;
    double sum = 0.0;
    long have = 0;
    for (long i = static_cast<long>(trace.noise().ar.size()); i < n; ++i) {
        const bool on = free[static_cast<std::size_t>(i)] != 0;
        sum = on ? sum + odds[static_cast<std::size_t>(i)] : 0.0;
        have = on ? have + 1 : 0;
        if (have < wanted) continue;
        all.push_back({sum / static_cast<double>(wanted), i});
        sum = 0.0;
        have = 0;
    }
    // What surely happened, once: it shows for seconds, in shapes of all kinds.
    std::sort(all.begin(), all.end(), [](const Stretch& a, const Stretch& b) { return a.odds > b.odds; });
    const auto around = std::lround(kAnswer_s / step_s);
    std::vector<Stretch> stretches;
    for (const auto& s : all)
        if (std::none_of(stretches.begin(), stretches.end(),
                         [&](const Stretch& k) { return k.odds > kSure && std::abs(k.cell - s.cell) < around; }))
            stretches.push_back(s);

    double share = kUsual;
    for (int round = 0; round < kRounds; ++round) {
        double met = kUsual * kUsualCounts;
        for (const auto& s : stretches) met += share * s.odds / (1.0 - share + share * s.odds);
        share = met / (kUsualCounts + static_cast<double>(all.size()));
    }
    return share;
}

}  // namespace idlehark::evidence
