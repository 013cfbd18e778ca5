#include "dsp/evidence/speed_trace.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::evidence {

namespace {

// An interval this many times wider than the usual one, and wider than kUnsure_rpm, says that the tracker was guessing.
constexpr double kUnsureRatio = 5.0;
constexpr double kUnsure_rpm = 10.0;
// A cell this far from the middle of its neighbours within kNear_s, in their spread, and at least kWild_rpm, is a slip
// of the tracker however sure it was. Steps, surges and answers to spray spread the neighbours and stay.
constexpr double kNear_s = 2.0;
constexpr double kWild_sd = 6.0;
constexpr double kWild_rpm = 15.0;
constexpr std::size_t kFewest = 6;       // neighbours that can tell
constexpr double kBreak_s = 20.0;        // nothing heard for so long: the idle may be another
constexpr double kBesideBreak_s = 20.0;  // heard, on either side: what its level is told by
constexpr double kSureFloor_rpm = 0.5;   // no reading counts as surer than this against its neighbours

bool usable(const RpmReading& r) { return r.locked && std::isfinite(r.rpm) && std::isfinite(r.time_s); }

double half_width(const RpmReading& r) {
    const double w = 0.5 * (r.rpm_high - r.rpm_low);
    return std::isfinite(w) && w > 0.0 ? w : 0.0;
}

void drop_wild(SpeedTrace& trace) {
    const auto n = static_cast<long>(trace.size());
    const long near = std::lround(kNear_s / trace.step_s);
    const auto heard = trace.seen;
    std::vector<double> around;
    for (long i = 0; i < n; ++i) {
        const auto cell = static_cast<std::size_t>(i);
        if (!heard[cell]) continue;
        around.clear();
        for (long k = std::max(0L, i - near); k < std::min(n, i + near + 1); ++k)
            if (k != i && heard[static_cast<std::size_t>(k)]) around.push_back(trace.rpm[static_cast<std::size_t>(k)]);
        if (around.size() < kFewest) continue;
        const double middle = stats::median(around);
        for (double& v : around) v = std::abs(v - middle);
        const double spread = stats::kMadToSd * stats::median(around);
        if (std::abs(trace.rpm[cell] - middle) > std::max(kWild_rpm, kWild_sd * spread)) trace.seen[cell] = 0;
    }
}

/// Nobody knows what happened in a break: what follows it is brought to the level before.
void join_over_breaks(SpeedTrace& trace) {
    const auto longest = static_cast<std::size_t>(kBreak_s / trace.step_s);
    const auto beside = static_cast<std::size_t>(kBesideBreak_s / trace.step_s);
    std::vector<std::size_t> heard;
    for (std::size_t i = 0; i < trace.size(); ++i)
        if (trace.seen[i]) heard.push_back(i);
    const auto level = [&](std::size_t from, std::size_t to) {
        std::vector<double> rpm;
        for (std::size_t k = from; k < to; ++k) rpm.push_back(trace.rpm[heard[k]]);
        return stats::median(rpm);
    };
    for (std::size_t k = 1; k < heard.size(); ++k) {
        if (heard[k] - heard[k - 1] < longest) continue;
        const double by = level(k - std::min(k, beside), k) - level(k, std::min(heard.size(), k + beside));
        for (std::size_t later = k; later < heard.size(); ++later) trace.rpm[heard[later]] += by;
    }
}

}  // namespace

long SpeedTrace::index(double t) const noexcept { return std::lround((t - start_s) / step_s); }

void bridge_gaps(std::vector<double>& rpm, const std::vector<char>& seen) {
    std::size_t last = rpm.size();  // none yet
    for (std::size_t i = 0; i < rpm.size(); ++i) {
        if (!seen[i]) continue;
        if (last == rpm.size()) std::fill(rpm.begin(), rpm.begin() + static_cast<long>(i), rpm[i]);
        for (std::size_t k = last + 1; last != rpm.size() && k < i; ++k)
            rpm[k] = rpm[last] + (rpm[i] - rpm[last]) * static_cast<double>(k - last) / static_cast<double>(i - last);
        last = i;
    }
    if (last != rpm.size()) std::fill(rpm.begin() + static_cast<long>(last) + 1, rpm.end(), rpm[last]);
}

SpeedTrace resample(std::span<const RpmReading> readings, double step_s) {
    SpeedTrace trace;
    trace.step_s = step_s;
    std::vector<double> widths;
    for (const auto& r : readings)
        if (usable(r)) widths.push_back(half_width(r));
    if (widths.empty()) return trace;
    const double widest = std::max(kUnsure_rpm, kUnsureRatio * stats::median(widths));
    bool first = true;
    std::vector<double> weight;
    for (const auto& r : readings) {
        if (!usable(r) || half_width(r) > widest) continue;
        if (first) trace.start_s = r.time_s;
        first = false;
        const auto i = static_cast<std::size_t>(std::max(0L, trace.index(r.time_s)));
        if (i >= trace.rpm.size()) {
            trace.rpm.resize(i + 1, 0.0);
            weight.resize(i + 1, 0.0);
        }
        const double sd = std::max(kSureFloor_rpm, half_width(r) / stats::kTwoSided95);
        trace.rpm[i] += r.rpm / (sd * sd);
        weight[i] += 1.0 / (sd * sd);
    }
    trace.seen.resize(trace.rpm.size(), 0);
    for (std::size_t i = 0; i < trace.rpm.size(); ++i) {
        trace.seen[i] = weight[i] > 0.0;
        if (trace.seen[i]) trace.rpm[i] /= weight[i];
    }
    drop_wild(trace);
    join_over_breaks(trace);
    bridge_gaps(trace.rpm, trace.seen);
    return trace;
}

}  // namespace idlehark::evidence
