#include "dsp/injectors/set_speed.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {

constexpr double kAlike = 0.06;       // an idle moves less from one recording to the next
constexpr double kRange = 0.05;       // each side
constexpr std::size_t kFewest = 2;    // whose speed is sure
constexpr double kLeastShare = 0.75;  // of the common waveform's share before

bool sure(const ProbeRecording& r) { return r.repeats && std::isfinite(r.rpm) && (r.firing_heard || one_part(r)); }

}  // namespace

OtherSpeeds other_speeds(std::span<const ProbedInjector> set, const Engine& engine) {
    OtherSpeeds out{{}, engine};
    std::vector<double> speeds;
    for (const auto& p : set)
        if (sure(p.recording)) speeds.push_back(p.recording.rpm);
    if (speeds.size() < kFewest || 2 * speeds.size() <= set.size()) return out;
    const double usual = stats::median(speeds);
    for (std::size_t i = 0; i < set.size(); ++i) {
        const auto& r = set[i].recording;
        if (r.repeats && !r.firing_heard && std::fabs(std::log(r.rpm / usual)) > kAlike) out.which.push_back(i);
    }
    out.engine.idle_low_rpm = usual * (1.0 - kRange);
    out.engine.idle_high_rpm = usual * (1.0 + kRange);
    return out;
}

bool as_clear(const ProbeRecording& again, const ProbeRecording& before) {
    return again.repeats && again.due > 0 && again.common_share >= kLeastShare * before.common_share;
}

}  // namespace idlehark
