#include "dsp/injectors/crank_clock.hpp"

#include "dsp/dot.hpp"
#include "dsp/stated_idle.hpp"
#include "dsp/statistics.hpp"
#include "dsp/track/front_end.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace idlehark {

namespace {
constexpr double kLeastLockedShare = 0.5;
constexpr double kFarOff = 0.12;           // logarithm: an idle does not, the tracker may for a second (three quarters)
constexpr double kWindow_s = 2.0;          // of the repetition search: some twenty cycles
constexpr double kStep_s = 0.5;            // from window to window
constexpr int kBlurFrames = 3;             // each side: what the speed changes within a cycle
constexpr double kLagStepPenalty = 0.01;   // per two frames of lag and step, against a correlation
constexpr int kLagReach = 6;               // frames of lag per step
constexpr double kRumbleRate_hz = 8000.0;  // and up to twice that
constexpr int kRumbleFilter = 6;
constexpr double kFromCycles_s = 0.1;
constexpr double kMedian_s = 0.8;  // each side: single readings scatter more than an idle moves in that time
constexpr double kMean_s = 0.3;

template <class Reduce>
std::vector<double> windowed(std::span<const double> x, double side, Reduce reduce) {
    const auto reach = static_cast<std::size_t>(std::lround(side));
    std::vector<double> out(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        const std::size_t from = i - std::min(i, reach);
        out[i] = reduce(x.subspan(from, std::min(i + reach, x.size() - 1) - from + 1));
    }
    return out;
}
}  // namespace

CrankClock::CrankClock(std::span<const double> cycle_rates_hz, double step_s) : step_s_(step_s) {
    cycles_.resize(cycle_rates_hz.size(), 0.0);
    for (std::size_t i = 1; i < cycles_.size(); ++i)
        cycles_[i] = cycles_[i - 1] + 0.5 * step_s * (cycle_rates_hz[i - 1] + cycle_rates_hz[i]);
}

double CrankClock::cycles_at(double time_s) const noexcept {
    if (std::isnan(time_s)) return time_s;
    const auto last = static_cast<double>(cycles_.size() - 2);
    const double knot = std::clamp(std::floor(time_s / step_s_), 0.0, last);
    const auto i = static_cast<std::size_t>(knot);
    return cycles_[i] + (cycles_[i + 1] - cycles_[i]) * (time_s / step_s_ - knot);
}

double CrankClock::time_at(double cycles) const noexcept {
    const auto above = std::upper_bound(cycles_.begin(), cycles_.end(), cycles) - cycles_.begin();
    const auto i = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(above - 1, 0, std::ssize(cycles_) - 2));
    return step_s_ * (static_cast<double>(i) + (cycles - cycles_[i]) / (cycles_[i + 1] - cycles_[i]));
}

double CrankClock::mean_rate_hz() const noexcept { return cycles_.back() / duration_s(); }

std::optional<CrankClock> clock_from_readings(std::span<const RpmReading> readings, double hop_s,
                                              const Engine& engine) {
    std::vector<double> speeds;
    for (const auto& r : readings)
        if (r.locked) speeds.push_back(r.rpm);
    if (speeds.empty()) return {};
    const double usual = stats::median(speeds);
    std::vector<double> heard;
    std::vector<std::size_t> locked;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        if (!readings[i].locked || std::fabs(std::log(readings[i].rpm / usual)) > kFarOff) continue;
        heard.push_back(cycle_frequency(engine, Rpm{readings[i].rpm}).value);
        locked.push_back(i);
    }
    if (readings.size() < 2 ||
        static_cast<double>(locked.size()) < kLeastLockedShare * static_cast<double>(readings.size()))
        return {};
    heard = windowed(heard, kMedian_s / hop_s, [](std::span<const double> w) { return stats::median(w); });
    std::vector<double> rates(readings.size(), 0.0);
    for (std::size_t i = 0; i < rates.size(); ++i) {
        const auto after = std::upper_bound(locked.begin(), locked.end(), i) - locked.begin();
        const auto k = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(after - 1, 0, std::ssize(locked) - 1));
        const std::size_t next = std::min(k + 1, locked.size() - 1);
        const double gap = static_cast<double>(locked[next]) - static_cast<double>(locked[k]);
        const double into = static_cast<double>(i) - static_cast<double>(locked[k]);
        rates[i] = std::lerp(heard[k], heard[next], gap > 0.0 ? std::clamp(into / gap, 0.0, 1.0) : 0.0);
    }
    return CrankClock{windowed(rates, kMean_s / hop_s, [](std::span<const double> w) { return stats::mean(w); }),
                      hop_s};
}

CrankClock clock_from_cycles(std::span<const double> start_s, double length_s) {
    constexpr std::ptrdiff_t kSide = 5;  // cycles
    const auto last = std::ssize(start_s) - 1;
    std::vector<double> rates;
    for (double t = 0.0; rates.size() < 2 || t < length_s + kFromCycles_s; t += kFromCycles_s) {
        const auto k = std::upper_bound(start_s.begin(), start_s.end(), t) - start_s.begin() - 1;
        const auto from = static_cast<std::size_t>(
            std::clamp<std::ptrdiff_t>(k - kSide, 0, std::max<std::ptrdiff_t>(0, last - 2 * kSide)));
        const auto to = std::min(from + static_cast<std::size_t>(2 * kSide), static_cast<std::size_t>(last));
        rates.push_back(static_cast<double>(to - from) / (start_s[to] - start_s[from]));
    }
    return CrankClock{rates, kFromCycles_s};
}

std::optional<CrankClock> clock_from_clicks(std::span<const float> strength, double hop_s, const Engine& engine) {
    const auto frames = static_cast<std::ptrdiff_t>(strength.size());
    const double slow_hop_s = 2.0 * hop_s;
    const auto window = static_cast<std::ptrdiff_t>(kWindow_s / slow_hop_s);
    const auto step = static_cast<std::ptrdiff_t>(kStep_s / slow_hop_s);
    const double slow_hz = cycle_frequency(engine, Rpm{engine.idle_low_rpm / kStatedIdleSlack}).value;
    const double fast_hz = cycle_frequency(engine, Rpm{engine.idle_high_rpm * kStatedIdleSlack}).value;
    const auto shortest = static_cast<std::ptrdiff_t>(std::floor(1.0 / fast_hz / slow_hop_s));
    const auto longest = static_cast<std::ptrdiff_t>(std::ceil(1.0 / slow_hz / slow_hop_s));
    if (static_cast<double>(frames) * hop_s < 2.0 || frames < 6 * longest) return {};

    // Blurred, halved in rate and centred, so that neighbouring lags agree and noise has no pull.
    std::vector<float> blurred(strength.size() / 2, 0.F);
    float mean = 0.F;
    for (std::ptrdiff_t i = 0; i < std::ssize(blurred); ++i) {
        auto& v = blurred[static_cast<std::size_t>(i)];
        for (std::ptrdiff_t k = 2 * i - kBlurFrames; k <= 2 * i + kBlurFrames; ++k)
            if (k >= 0 && k < frames) v += strength[static_cast<std::size_t>(k)];
        mean += v / static_cast<float>(blurred.size());
    }
    for (auto& v : blurred) v -= mean;

    const auto lags = static_cast<std::size_t>(longest - shortest + 1);
    const auto steps = static_cast<std::size_t>(std::max<std::ptrdiff_t>(1, (frames / 2 - longest - 1) / step + 1));
    std::vector<std::vector<double>> best(steps, std::vector<double>(lags));
    std::vector<std::vector<int>> came(steps, std::vector<int>(lags, 0));
    for (std::size_t s = 0; s < steps; ++s) {
        const auto centre = static_cast<std::ptrdiff_t>(s) * step;
        const auto from = std::max<std::ptrdiff_t>(0, centre - window / 2);
        double power = 1e-12;
        const auto end = std::min(std::ssize(blurred), centre + window / 2);
        for (auto i = from; i < end; ++i)
            power += static_cast<double>(blurred[static_cast<std::size_t>(i)] * blurred[static_cast<std::size_t>(i)]);
        for (std::size_t l = 0; l < lags; ++l) {
            const auto lag = shortest + static_cast<std::ptrdiff_t>(l);
            const auto count = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, end - lag - from));
            const float sum = dot(blurred.data() + from, blurred.data() + from + lag, count);
            best[s][l] = static_cast<double>(sum) / power;
        }
        if (s == 0) continue;
        for (std::size_t l = 0; l < lags; ++l) {
            double top = -1e300;
            for (int d = -kLagReach; d <= kLagReach; ++d) {
                const auto p = static_cast<std::ptrdiff_t>(l) + d;
                if (p < 0 || p >= static_cast<std::ptrdiff_t>(lags)) continue;
                const double v = best[s - 1][static_cast<std::size_t>(p)] - kLagStepPenalty * std::abs(d);
                if (v <= top) continue;
                top = v;
                came[s][l] = d;
            }
            best[s][l] += top;
        }
    }
    auto l = std::max_element(best.back().begin(), best.back().end()) - best.back().begin();
    std::vector<double> rates(steps + 1);
    for (std::size_t s = steps; s-- > 0;) {
        rates[s] = 1.0 / (slow_hop_s * static_cast<double>(shortest + l));
        l += came[s][static_cast<std::size_t>(l)];
    }
    rates[steps] = rates[steps - 1];
    while (static_cast<double>(rates.size() - 1) * kStep_s < static_cast<double>(frames) * hop_s)
        rates.push_back(rates.back());
    return CrankClock{windowed(rates, 1.0, [](std::span<const double> w) { return stats::mean(w); }), kStep_s};
}

std::vector<RpmReading> readings_of_rumble(AudioView x, double sample_rate_hz, const Engine& engine) {
    const int factor = static_cast<int>(sample_rate_hz / kRumbleRate_hz);
    if (factor < 2) return track_idle({sample_rate_hz, engine, kRumbleHop_s}, x);
    Decimator decimator{factor, kRumbleFilter};
    std::vector<float> low;
    std::vector<float> clean(x.begin(), x.end());
    for (auto& v : clean)
        if (!std::isfinite(v)) v = 0.F;
    decimator.process(clean, [&low](float v) { low.push_back(v); });
    return track_idle({sample_rate_hz / factor, engine, kRumbleHop_s}, low);
}

}  // namespace idlehark
