#include "dsp/balance/crank_path.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {
constexpr double kBridged_s = 0.5;
constexpr int kParts = 4;  // straight pieces between two readings: the speed's slope bends the phase

double between(double x, std::span<const double> xs, std::span<const double> ys) {
    if (x <= xs.front()) return ys.front();
    if (x >= xs.back()) return ys.back();
    const auto i = static_cast<std::size_t>(std::upper_bound(xs.begin(), xs.end(), x) - xs.begin());
    const double u = (x - xs[i - 1]) / (xs[i] - xs[i - 1]);
    return ys[i - 1] + u * (ys[i] - ys[i - 1]);
}
}  // namespace

CrankPath::CrankPath(const Engine& engine, std::span<const RpmReading> readings) {
    struct Run {
        std::size_t from = 0, to = 0;
    };
    std::vector<RpmReading> locked;
    for (const auto& r : readings)
        if (r.locked) locked.push_back(r);
    Run best;
    for (std::size_t i = 0, from = 0; i < locked.size(); ++i) {
        if (i > 0 && locked[i].time_s - locked[i - 1].time_s > kBridged_s) from = i;
        if (i - from > best.to - best.from) best = {from, i};
    }
    if (best.to == best.from) return;
    const auto hz = [&](std::size_t i) { return cycle_frequency(engine, Rpm{locked[i].rpm}).value; };
    time_s_.push_back(locked[best.from].time_s);
    phase_.push_back(0.0);
    for (std::size_t i = best.from; i < best.to; ++i) {
        const double start_s = locked[i].time_s;
        const double step_s = locked[i + 1].time_s - start_s;
        const double base = phase_.back();
        for (int k = 1; k <= kParts; ++k) {
            const double u = static_cast<double>(k) / kParts;
            time_s_.push_back(start_s + u * step_s);
            phase_.push_back(base + u * step_s * (hz(i) + 0.5 * u * (hz(i + 1) - hz(i))));
        }
    }
}

double CrankPath::phase_at(double time_s) const noexcept {
    return phase_.empty() ? 0.0 : between(time_s, time_s_, phase_);
}
double CrankPath::time_at(double phase) const noexcept {
    return phase_.empty() ? 0.0 : between(phase, phase_, time_s_);
}
double CrankPath::InTurn::time_at(double phase) noexcept {
    const auto& phases = path_.phase_;
    if (phases.empty() || phase <= phases.front() || phase >= phases.back()) return path_.time_at(phase);
    if (phase >= until_) {
        while (phases[next_] <= phase) ++next_;
        from_ = phases[next_ - 1], until_ = phases[next_];
        start_s_ = path_.time_s_[next_ - 1];
        s_per_cycle_ = (path_.time_s_[next_] - start_s_) / (until_ - from_);
    }
    return start_s_ + (phase - from_) * s_per_cycle_;
}
void CrankPath::correct(std::span<const double> at_s, std::span<const double> cycles) {
    if (at_s.empty()) return;
    for (std::size_t i = 0; i < phase_.size(); ++i) phase_[i] += between(time_s_[i], at_s, cycles);
    for (std::size_t i = phase_.size(); i-- > 0;) phase_[i] -= phase_[0];
}

}  // namespace idlehark
