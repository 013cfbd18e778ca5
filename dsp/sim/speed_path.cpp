#include "dsp/sim/speed_path.hpp"

#include "dsp/sim/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

namespace idlehark::sim {

namespace {

constexpr double kStep_s = 1.0 / SpeedPath::kRate_hz;
constexpr double kTwoPi = 2.0 * std::numbers::pi;

// Hunting: how much and how slowly its amplitude and period change. Invented, after idles heard in open recordings.
constexpr double kHuntingAmplitudeSpread = 0.3;
constexpr double kHuntingPeriodSpread = 0.15;
constexpr double kHuntingChange_s = 12.0;
// A natural step starts from where the last ones left the idle: beyond this offset the next one leads back.
constexpr double kNaturalReach_rpm = 15.0;
constexpr double kDecaysKept = 12.0;  // exp(-12) is 6e-6 of a response

void require(bool ok, const char* field, double value, const char* range) {
    if (!ok) throw std::invalid_argument(std::string(field) + ": " + std::to_string(value) + " is not " + range);
}

/// First-order (Ornstein-Uhlenbeck) noise of standard deviation 1, started in its steady state.
class FirstOrderNoise {
   public:
    FirstOrderNoise(Random random, double time_s)
        : random_(random), keep_(std::exp(-kStep_s / time_s)), add_(std::sqrt(1.0 - keep_ * keep_)) {
        state_ = normal_(random_);
    }
    double next() {
        const double now = state_;
        state_ = keep_ * state_ + add_ * normal_(random_);
        return now;
    }

   private:
    Random random_;
    std::normal_distribution<double> normal_;
    double keep_;
    double add_;
    double state_ = 0.0;
};

void add_hunting(std::vector<double>& rpm, const SpeedPathSpec& s) {
    if (s.hunting_rpm == 0.0) return;
    FirstOrderNoise amplitude(sub_stream(s.seed, "hunting amplitude"), kHuntingChange_s);
    FirstOrderNoise period(sub_stream(s.seed, "hunting period"), kHuntingChange_s);
    auto random = sub_stream(s.seed, "hunting phase");
    double phase = uniform(random, 0.0, kTwoPi);
    for (double& v : rpm) {
        v += s.hunting_rpm * std::max(0.0, 1.0 + kHuntingAmplitudeSpread * amplitude.next()) * std::sin(phase);
        phase += kTwoPi * kStep_s / (s.hunting_period_s * std::exp(kHuntingPeriodSpread * period.next()));
    }
}

void add_noise(std::vector<double>& rpm, const SpeedPathSpec& s) {
    if (s.wander_rpm != 0.0) {
        FirstOrderNoise wander(sub_stream(s.seed, "wander"), s.wander_time_s);
        for (double& v : rpm) v += s.wander_rpm * wander.next();
    }
    if (s.random_walk_rpm != 0.0) {
        auto random = sub_stream(s.seed, "random walk");
        std::normal_distribution<double> normal(0.0, s.random_walk_rpm * std::sqrt(kStep_s));
        double sum = 0.0;
        for (double& v : rpm) v += sum += normal(random);
    }
}

void add_trends(std::vector<double>& rpm, const SpeedPathSpec& s) {
    for (std::size_t i = 0; i < rpm.size(); ++i) {
        const double t = static_cast<double>(i) * kStep_s;
        rpm[i] += s.drift_rpm_per_s * t;
        if (s.warm_up_rpm != 0.0) rpm[i] += s.warm_up_rpm * std::exp(-t / s.warm_up_time_s);
        if (s.surge_rpm != 0.0) rpm[i] += s.surge_rpm * std::sin(kTwoPi * s.surge_hz * t);
    }
}

void add_natural_steps(std::vector<double>& rpm, const SpeedPathSpec& s) {
    if (s.natural_steps_per_min <= 0.0) return;
    auto random = sub_stream(s.seed, "natural steps");
    std::exponential_distribution<double> wait(s.natural_steps_per_min / 60.0);
    double offset = 0.0;
    std::size_t i = 0;
    double start = wait(random);
    while (start < static_cast<double>(rpm.size()) * kStep_s) {
        const double size = uniform(random, s.natural_step_low_rpm, s.natural_step_high_rpm);
        const double sign = std::abs(offset) > kNaturalReach_rpm ? -std::copysign(1.0, offset)
                                                                 : (uniform(random, 0.0, 1.0) < 0.5 ? -1.0 : 1.0);
        for (; i < rpm.size() && static_cast<double>(i) * kStep_s < start; ++i) rpm[i] += offset;
        for (; i < rpm.size() && static_cast<double>(i) * kStep_s < start + s.natural_step_s; ++i)
            rpm[i] += offset + sign * size * (static_cast<double>(i) * kStep_s - start) / s.natural_step_s;
        offset += sign * size;
        start += s.natural_step_s + wait(random);
    }
    for (; i < rpm.size(); ++i) rpm[i] += offset;
}

double load_answer(double t, const LoadStep& load) {
    const double on = t > load.time_s ? 1.0 - std::exp(-(t - load.time_s) / load.time_constant_s) : 0.0;
    const double off = t > load.end_s ? 1.0 - std::exp(-(t - load.end_s) / load.time_constant_s) : 0.0;
    return load.change_rpm * (on - off);
}

/// Bursts and loads: what comes from outside, and what an idle valve takes back.
void add_provoked(std::vector<double>& rpm, const SpeedPathSpec& s) {
    std::vector<double> answer(rpm.size(), 0.0);
    const auto index = [&](double t) {
        return static_cast<std::size_t>(std::clamp(std::ceil(t / kStep_s), 0.0, static_cast<double>(rpm.size())));
    };
    for (const auto& b : s.bursts) {
        const double end = b.time_s + b.shape.delay_s + b.duration_s + kDecaysKept * b.shape.decay_s;
        for (std::size_t i = index(b.time_s); i < index(end); ++i)
            answer[i] +=
                b.change_rpm * burst_response(static_cast<double>(i) * kStep_s - b.time_s, b.duration_s, b.shape);
    }
    for (const auto& load : s.loads)
        for (std::size_t i = index(load.time_s); i < rpm.size(); ++i)
            answer[i] += load_answer(static_cast<double>(i) * kStep_s, load);
    // The valve integrates the excess it sees: what remains is the answer behind a first-order high-pass.
    const double follow = s.regulation_s > 0.0 ? 1.0 - std::exp(-kStep_s / s.regulation_s) : 0.0;
    double valve = 0.0;
    for (std::size_t i = 0; i < rpm.size(); ++i) {
        rpm[i] += answer[i] - valve;
        valve += follow * (answer[i] - valve);
    }
}

void check_burst(const SpeedBurst& b) {
    require(b.duration_s > 0.0, "burst duration_s", b.duration_s, "above 0");
    require(b.shape.rise_s > 0.0, "burst rise_s", b.shape.rise_s, "above 0");
    require(b.shape.decay_s > 0.0, "burst decay_s", b.shape.decay_s, "above 0");
    require(b.shape.delay_s >= 0.0, "burst delay_s", b.shape.delay_s, "0 or more");
}

void check_spec(const SpeedPathSpec& s) {
    require(s.duration_s > 0.0 && std::isfinite(s.duration_s), "duration_s", s.duration_s, "above 0");
    require(s.mean_rpm >= 0.0 && std::isfinite(s.mean_rpm), "mean_rpm", s.mean_rpm, "0 or more");
    require(s.hunting_period_s > 0.0, "hunting_period_s", s.hunting_period_s, "above 0");
    require(s.wander_time_s > 0.0, "wander_time_s", s.wander_time_s, "above 0");
    require(s.warm_up_time_s > 0.0, "warm_up_time_s", s.warm_up_time_s, "above 0");
    require(s.natural_step_s > 0.0, "natural_step_s", s.natural_step_s, "above 0");
    require(s.stall_fall_s > 0.0, "stall_fall_s", s.stall_fall_s, "above 0");
    require(s.regulation_s >= 0.0, "regulation_s", s.regulation_s, "0 or more");
    for (const auto& b : s.bursts) check_burst(b);
    for (const auto& load : s.loads)
        require(load.time_constant_s > 0.0, "load time_constant_s", load.time_constant_s, "above 0");
}

std::vector<double> speeds(const SpeedPathSpec& s) {
    check_spec(s);
    std::vector<double> rpm(static_cast<std::size_t>(std::ceil(s.duration_s / kStep_s)) + 1, s.mean_rpm);
    add_hunting(rpm, s);
    add_noise(rpm, s);
    add_trends(rpm, s);
    add_natural_steps(rpm, s);
    add_provoked(rpm, s);
    for (std::size_t i = 0; i < rpm.size(); ++i) {
        const double stalled_s = std::max(0.0, static_cast<double>(i) * kStep_s - s.stall_s);
        rpm[i] = std::max(0.0, rpm[i] * (1.0 - std::min(1.0, stalled_s / s.stall_fall_s)));
    }
    return rpm;
}

}  // namespace

double burst_response(double since_start_s, double duration_s, const BurstShape& shape) {
    const double t = since_start_s - shape.delay_s;
    if (t <= 0.0) return 0.0;
    if (t < duration_s) return std::expm1(-t / shape.rise_s) / std::expm1(-duration_s / shape.rise_s);
    return std::exp(-(t - duration_s) / shape.decay_s);
}

struct SpeedPath::Data {
    std::vector<double> rpm;
    std::vector<double> turns;  // at the same times
    double turns_per_cycle;
};

SpeedPath::SpeedPath(const SpeedPathSpec& spec) : SpeedPath(speeds(spec), spec.strokes) {}

SpeedPath::SpeedPath(std::vector<double> speeds_rpm, int strokes) {
    require(strokes == 2 || strokes == 4, "strokes", strokes, "2 or 4");
    require(speeds_rpm.size() >= 2, "speeds", static_cast<double>(speeds_rpm.size()), "two or more");
    for (const double v : speeds_rpm) require(v >= 0.0 && std::isfinite(v), "speed", v, "0 or more");
    std::vector<double> turns(speeds_rpm.size(), 0.0);
    for (std::size_t i = 1; i < turns.size(); ++i)
        turns[i] = turns[i - 1] + 0.5 * (speeds_rpm[i - 1] + speeds_rpm[i]) / 60.0 * kStep_s;
    data_ = std::make_shared<Data>(Data{std::move(speeds_rpm), std::move(turns), strokes == 2 ? 1.0 : 2.0});
}

void SpeedPath::add_burst(const SpeedBurst& burst, double regulation_s) {
    check_burst(burst);
    auto& rpm = data_->rpm;
    auto& turns = data_->turns;
    const double follow = regulation_s > 0.0 ? 1.0 - std::exp(-kStep_s / regulation_s) : 0.0;
    double valve = 0.0;
    for (auto i = static_cast<std::size_t>(std::max(1.0, std::ceil(burst.time_s * kRate_hz))); i < rpm.size(); ++i) {
        const double answer = burst.change_rpm * burst_response(static_cast<double>(i) * kStep_s - burst.time_s,
                                                                burst.duration_s, burst.shape);
        rpm[i] = std::max(0.0, rpm[i] + answer - valve);
        valve += follow * (answer - valve);
        turns[i] = turns[i - 1] + 0.5 * (rpm[i - 1] + rpm[i]) / 60.0 * kStep_s;
    }
}

double SpeedPath::duration_s() const noexcept { return static_cast<double>(data_->rpm.size() - 1) * kStep_s; }
int SpeedPath::strokes() const noexcept { return data_->turns_per_cycle == 1.0 ? 2 : 4; }
const std::vector<double>& SpeedPath::speeds_rpm() const noexcept { return data_->rpm; }

double SpeedPath::rpm_at(double time_s) const noexcept {
    const auto& rpm = data_->rpm;
    const double x = std::max(0.0, time_s) * kRate_hz;
    if (x >= static_cast<double>(rpm.size() - 1)) return rpm.back();
    const auto i = static_cast<std::size_t>(x);
    return rpm[i] + (x - static_cast<double>(i)) * (rpm[i + 1] - rpm[i]);
}

double SpeedPath::turns_at(double time_s) const noexcept {
    const auto& rpm = data_->rpm;
    if (time_s <= 0.0) return time_s * rpm.front() / 60.0;
    const double x = time_s * kRate_hz;
    if (x >= static_cast<double>(rpm.size() - 1))
        return data_->turns.back() + (time_s - duration_s()) * rpm.back() / 60.0;
    const auto i = static_cast<std::size_t>(x);
    const double part = x - static_cast<double>(i);
    return data_->turns[i] + (rpm[i] + 0.5 * part * (rpm[i + 1] - rpm[i])) * part * kStep_s / 60.0;
}

double SpeedPath::cycles_at(double time_s) const noexcept { return turns_at(time_s) / data_->turns_per_cycle; }

double SpeedPath::time_at_cycles(double cycles) const noexcept {
    const auto& rpm = data_->rpm;
    const auto& turns = data_->turns;
    const double wanted = cycles * data_->turns_per_cycle;
    if (wanted <= 0.0) return 0.0;
    if (wanted > turns.back())
        return rpm.back() > 0.0 ? duration_s() + (wanted - turns.back()) * 60.0 / rpm.back()
                                : std::numeric_limits<double>::infinity();
    const auto upper = std::lower_bound(turns.begin(), turns.end(), wanted);
    const auto i = static_cast<std::size_t>(upper - turns.begin()) - 1;
    // Within the step: a part + b part^2 = c, in the form of the root that has no difference of nearly equal numbers.
    const double a = rpm[i];
    const double b = 0.5 * (rpm[i + 1] - rpm[i]);
    const double c = (wanted - turns[i]) * 60.0 * kRate_hz;
    const double part = 2.0 * c / (a + std::sqrt(std::max(0.0, a * a + 4.0 * b * c)));
    return (static_cast<double>(i) + std::clamp(part, 0.0, 1.0)) * kStep_s;
}

double SpeedPath::mean_rpm(double from_s, double to_s) const noexcept {
    return to_s > from_s ? 60.0 * (turns_at(to_s) - turns_at(from_s)) / (to_s - from_s) : rpm_at(from_s);
}

}  // namespace idlehark::sim
