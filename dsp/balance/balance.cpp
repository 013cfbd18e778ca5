#include "dsp/balance/balance.hpp"

#include "dsp/balance/cycle_bins.hpp"
#include "dsp/balance/cycle_lines.hpp"
#include "dsp/balance/misfires.hpp"
#include "dsp/balance/spark_firing.hpp"
#include "dsp/balance/strength.hpp"
#include "dsp/balance/swell_fit.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>

namespace idlehark {

namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr int kFewestCycles = 40;        // six seconds of idle: ten tenths of four cycles
constexpr double kSteadyRatio = 1.35;    // of the fastest cycles' speed to the slowest ones': an idle that hunts
                                         // by 15 % stays within; a firing sounds otherwise at another speed
constexpr double kFitTells = 0.3;        // below this share no common pulse shape is seen
constexpr double kBandsDisagree = 0.3;   // this far a cylinder sounds different, logarithm of amplitude
constexpr std::size_t kFewestBands = 2;  // that tell: one alone cannot say whether others agree
constexpr double kHarmless = 0.9;        // a loss up to here is not worth an accusation
constexpr double kEvenAbove = 2.0 / 3.0;
constexpr double kAccuse = 0.01;             // chance that a healthy engine has any cylinder called weak; and the same
                                             // for misfires: 2 % together
constexpr double kHarmlessMisfires = 0.015;  // surely more than this: over many minutes uneven scatter counts up to it
constexpr double kAlwaysWeak = 0.4;          // a cylinder this weak cannot be counted firing by firing
constexpr double kMostOpen = 0.3;            // standard deviation of the logarithm of a strength: beyond it something
                                             // else sounds in its place, too: what is faint or missing need not be it
constexpr double kMisfiresExcluded_percent = 6.0;
constexpr std::size_t kPoints = 1024;

/// Share of the mean cycle's line power between the multiples of the firing order, noise taken off.
double half_order_share(const CycleLines& lines, int cylinders, double cycle_hz) {
    double between = 0.0, all = 0.0;
    for (std::size_t k = 1; k < kPoints / 2; ++k) {
        const double f = static_cast<double>(k) * cycle_hz;
        if (f < 60.0 || f > 700.0) continue;
        const double power = lines.line[k] - lines.noise[k];
        all += power;
        if (k % static_cast<std::size_t>(cylinders) != 0) between += power;
    }
    return all > 0.0 ? std::clamp(between / all, 0.0, 1.0) : kNone;
}

/// Speeds of the path's cycles.
std::vector<double> cycle_speeds(const CrankPath& path, const Engine& engine) {
    std::vector<double> rpm;
    CrankPath::InTurn turn(path);
    double begins_s = turn.time_at(0.0);
    for (double c = 1.0; c <= path.cycles(); c += 1.0) {
        const double ends_s = turn.time_at(c);
        rpm.push_back(speed_from_cycle_frequency(engine, Hertz{1.0 / (ends_s - begins_s)}).value);
        begins_s = ends_s;
    }
    return rpm;
}

/// Place of the reference's pulse in the cycle, 0..1. Nothing if the pulses don't come once a cycle at one angle.
std::optional<double> place_of(std::span<const double> reference_s, const CrankPath& path) {
    std::complex<double> sum = 0.0;
    double count = 0.0;
    for (const double t : reference_s) {
        if (t < path.start_s() || t > path.end_s()) continue;
        sum += std::polar(1.0, 2.0 * std::numbers::pi * path.phase_at(t));
        count += 1.0;
    }
    constexpr double kOnePerCycle = 0.25, kOneAngle = 0.9;
    if (std::fabs(count - path.cycles()) > kOnePerCycle * path.cycles() || std::abs(sum) < kOneAngle * count)
        return std::nullopt;
    return std::arg(sum) / (2.0 * std::numbers::pi);
}

/// Names the firings by the reference's: which one is first in the firing order.
std::size_t name_firings(Balance& out, double spark, const std::vector<double>& places, double onset, double cycle) {
    const std::size_t n = places.size();
    std::vector<double> after_deg;
    for (const double at : places) after_deg.push_back(cycle * (onset + at - spark));
    const auto firing = firing_of_spark(after_deg, cycle, out.rpm);
    out.spark_to_sound_deg = kNone;
    for (double after : after_deg) {
        after -= cycle * std::floor(after / cycle);
        out.spark_to_sound_deg = std::fmin(out.spark_to_sound_deg, after);
    }
    if (!firing.at_engine && firing.at_tail_pipe.empty()) return 0;
    out.rotation_known = true;
    const std::size_t first = firing.at_engine ? *firing.at_engine : firing.at_tail_pipe.front();
    for (const std::size_t i : firing.at_tail_pipe)
        if (i != first) out.tail_pipe_later.push_back((i + n - first) % n);
    return first;
}

}  // namespace

BalanceEar::BalanceEar(const Engine& engine, double sample_rate_hz) : engine_(engine), split_(sample_rate_hz) {
    check(engine);
}

Balance BalanceEar::judge(std::span<const RpmReading> readings, std::span<const double> reference_s) {
    split_.finish();
    CrankPath path(engine_, readings);
    const auto n = static_cast<std::size_t>(engine_.cylinders);
    Balance out;
    out.rpm = out.rpm_low = out.rpm_high = out.half_order_share = out.single_firing_sd = out.fit_share = kNone;
    out.spark_to_sound_deg = kNone;
    if (path.cycles() < kFewestCycles) return out;
    const double cycle_hz = path.mean_cycle_hz();
    out.rpm = speed_from_cycle_frequency(engine_, Hertz{cycle_hz}).value;
    out.used_s = path.end_s() - path.start_s();
    const auto speeds = cycle_speeds(path, engine_);
    out.rpm_low = stats::quantile(speeds, 0.05);
    out.rpm_high = stats::quantile(speeds, 0.95);
    const auto cut = cut_cycles(split_, path, std::max<std::size_t>(96, 16 * n));
    out.cycles = static_cast<int>(std::count(cut.usable.begin(), cut.usable.end(), 1));
    out.left_out_cycles = static_cast<int>(cut.cycles) - out.cycles;
    if (out.cycles < kFewestCycles) return out;
    out.steady = out.rpm_high < kSteadyRatio * out.rpm_low;
    if (!out.steady) return out;
    const auto fit = fit_swells(cut, engine_, cycle_hz);
    out.fit_share = fit.explained;
    if (n > 1 && engine_.firing_angles_deg.empty())
        out.half_order_share =
            half_order_share(cycle_lines(split_, path, cut.usable, kPoints), engine_.cylinders, cycle_hz);
    const bool tells = std::any_of(fit.bands.begin(), fit.bands.end(), [](const auto& b) { return b.tells; });
    out.heard = tells && fit.explained > kFitTells;
    if (!out.heard) return out;

    const auto places = firing_fractions(engine_);
    const auto [strong, soft] = n > 1 ? strengths(fit, engine_) : Strengths{std::vector<Strength>(1), {0}};
    std::vector<double> strength(n);
    for (std::size_t i = 0; i < n; ++i) strength[i] = std::exp(strong[i].log);
    const auto missing =
        count_misfires(cut, fit, fit_firings(split_, path, places, fit.onset_cycles, cut.cycles), strength);
    out.single_firing_sd = missing.sd;
    out.half_softer = std::any_of(soft.begin(), soft.end(), [](char s) { return s != 0; });
    std::size_t first = 0;  // the first firing of the stretch that is heard
    if (const auto spark = place_of(reference_s, path))
        first = name_firings(out, *spark, places, fit.onset_cycles, cycle_deg(engine_));
    for (std::size_t k = 0; k < n; ++k) {
        const std::size_t i = (first + k) % n;
        double angle = places[i] - places[first];
        angle -= std::floor(angle);
        CylinderBalance c;
        c.angle_deg = angle * cycle_deg(engine_);
        const auto& s = strong[i];
        const double count = static_cast<double>(n);
        if (n > 1 && std::isfinite(s.sd)) {
            c.strength = std::exp(s.log);
            c.strength_low = std::exp(s.log - stats::kTwoSided95 * s.sd);
            c.strength_high = std::exp(s.log + stats::kTwoSided95 * s.sd);
            c.band_spread = s.spread;
            c.p_weak = std::min(1.0, count * stats::normal_cdf((s.log - std::log(kHarmless)) / s.sd));
        } else {
            c.strength = c.strength_low = c.strength_high = n == 1 ? 1.0 : kNone;
        }
        const auto& m = missing.cylinders[i];
        const bool known = n == 1 || s.sd < kMostOpen;
        const bool counted =
            known && missing.tells && !(c.strength < kAlwaysWeak) && (m.told || !(c.strength < kWeakBelow));
        c.misfire_percent = counted ? 100.0 * m.share : kNone;
        c.misfire_low = counted ? 100.0 * m.low : kNone;
        c.misfire_high = counted ? 100.0 * m.high : kNone;
        c.p_misfire = counted ? std::min(1.0, count * m.p) : 1.0;
        const bool misses = c.p_misfire < kAccuse && m.low > kHarmlessMisfires;
        // Missing firings make the mean cycle weaker too, and a weak cylinder's are heard less surely: the surer of the
        // two is said.
        const bool weak =
            known && c.p_weak < kAccuse && s.log < std::log(kWeakBelow) && s.bands >= kFewestBands && soft[i] == 0;
        if (weak && !(misses && c.p_misfire < c.p_weak))
            c.verdict = CylinderVerdict::weak;
        else if (misses)
            c.verdict = CylinderVerdict::misfires;
        else if (c.strength_low > kEvenAbove && counted && c.misfire_high < kMisfiresExcluded_percent)
            c.verdict = CylinderVerdict::even;
        else if (s.spread > kBandsDisagree && s.largest_z > 5.0)
            c.verdict = CylinderVerdict::sounds_different;
        out.cylinders.push_back(c);
    }
    return out;
}

std::vector<double> half_order_amplitudes(std::span<const double> strengths) {
    const std::size_t n = strengths.size();
    std::vector<double> out;
    for (std::size_t m = 0; m < n; ++m) {
        std::complex<double> sum = 0.0;
        for (std::size_t j = 0; j < n; ++j)
            sum += strengths[j] *
                   std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(m * j % n) / static_cast<double>(n));
        out.push_back(std::abs(sum) / static_cast<double>(n));
    }
    return out;
}

}  // namespace idlehark
