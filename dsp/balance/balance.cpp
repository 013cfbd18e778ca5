#include "dsp/balance/balance.hpp"

#include "dsp/balance/cycle_bins.hpp"
#include "dsp/balance/misfires.hpp"
#include "dsp/balance/swell_fit.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <numeric>

namespace idlehark {

namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr int kFewestCycles = 40;            // six seconds of idle: ten tenths of four cycles
constexpr double kSteadyRatio = 1.35;        // of the fastest cycles' speed to the slowest ones': an idle that hunts
                                             // by 15 % stays within; a firing sounds otherwise at another speed
constexpr double kFitTells = 0.3;            // below this share no common pulse shape is seen
constexpr double kColourPrior = 0.15;        // how far one band of a healthy cylinder is off, logarithm of amplitude
constexpr double kColourPriorFreedom = 6.0;  // and what that is worth, in values
constexpr double kColourCommon = 0.06;       // off in all bands together: no sound can tell it from strength
constexpr double kHarmless = 0.9;            // a loss up to here is not worth an accusation
constexpr double kWeakBelow = 0.75;
constexpr double kEvenAbove = 2.0 / 3.0;
constexpr double kApartBelow = 0.9;  // the strongest of a softer half against the weakest of the other
constexpr std::size_t kFewestInRows = 6;
constexpr double kAccuse = 0.01;             // chance that a healthy engine has any cylinder called weak; and the same
                                             // for misfires: 2 % together
constexpr double kHarmlessMisfires = 0.015;  // surely more than this: over many minutes uneven scatter counts up to it
constexpr double kSilentShare = 0.05;        // of the middle swell: below this a logarithm says nothing more
constexpr double kAlwaysWeak = 0.4;          // a cylinder this weak cannot be counted firing by firing
constexpr double kMisfiresExcluded_percent = 6.0;
constexpr std::size_t kPoints = 1024;

/// Log amplitude of a cylinder against the middle of the others.
double log_ratio(const Eigen::VectorXd& swell, std::size_t i) {
    const std::vector<double> v(swell.data(), swell.data() + swell.size());
    const double other = stats::median_of_others(v, i);
    return other > 0.0 ? 0.5 * std::log(std::max(v[i] / other, kSilentShare)) : kNone;
}

struct Strength {
    double log = 0.0, sd = std::numeric_limits<double>::infinity(), spread = 0.0, largest_z = 0.0;
};

/// Strength of every cylinder over all bands that tell.
std::vector<Strength> strengths(const SwellFit& fit, std::size_t n) {
    struct Cell {
        double y, variance;
    };
    std::vector<std::vector<Cell>> cells(n);
    for (const auto& b : fit.bands) {
        if (!b.tells) continue;
        for (std::size_t i = 0; i < n; ++i) {
            const double y = log_ratio(b.swell, i);
            double variance = 0.0;
            for (const auto& w : b.without) variance += std::pow(log_ratio(w, i) - y, 2);
            variance *= static_cast<double>(b.without.size() - 1) / static_cast<double>(b.without.size());
            if (std::isfinite(y) && std::isfinite(variance)) cells[i].push_back({y, variance});
        }
    }
    // How far bands of one cylinder disagree beyond noise: the cylinders' own sound.
    double sum = kColourPrior * kColourPrior * kColourPriorFreedom;
    double freedom = kColourPriorFreedom;
    for (const auto& row : cells) {
        if (row.size() < 2) continue;
        std::vector<double> y;
        double noise = 0.0;
        for (const auto& c : row) y.push_back(c.y), noise += c.variance / static_cast<double>(row.size());
        const double sd = stats::sample_sd(y);
        const double f = static_cast<double>(row.size() - 1);
        sum += f * std::max(0.0, sd * sd - noise);
        freedom += f;
    }
    const double colour = sum / freedom;
    std::vector<Strength> out(n);
    for (std::size_t i = 0; i < n; ++i) {
        double weight = 0.0, mean = 0.0;
        for (const auto& c : cells[i]) weight += 1.0 / (colour + c.variance), mean += c.y / (colour + c.variance);
        if (!(weight > 0.0)) continue;
        auto& s = out[i];
        s.log = mean / weight;
        s.sd = std::sqrt(1.0 / weight + kColourCommon * kColourCommon);
        double spread = 0.0;
        for (const auto& c : cells[i]) {
            spread += std::pow(c.y - s.log, 2) / static_cast<double>(cells[i].size());
            s.largest_z = std::max(s.largest_z, std::fabs(c.y) / std::sqrt(c.variance + 1e-6));
        }
        s.spread = std::sqrt(spread);
    }
    return out;
}

/// The cylinders of a half that stands apart below the other, and none of which is weak among that half: a row of a vee
/// or flat engine that is further from the microphone sounds so. Fours stand in one row unless stated.
std::vector<char> softer_half(const std::vector<double>& strength, const Engine& engine) {
    const std::size_t n = strength.size();
    std::vector<char> out(n, 0);
    if (n % 2 != 0 || (n < kFewestInRows && engine.banks.size() != 2)) return out;
    std::vector<std::size_t> order(n);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return strength[a] < strength[b]; });
    const auto at = [&](std::size_t k) { return strength[order[k]]; };
    if (at(n / 2 - 1) >= kApartBelow * at(n / 2)) return out;
    std::vector<double> half;
    for (std::size_t k = 0; k < n / 2; ++k) half.push_back(at(k));
    for (std::size_t k = 0; k < n / 2; ++k)
        if (at(k) > kWeakBelow * stats::median_of_others(half, k)) out[order[k]] = 1;
    return out;
}

/// Share of the mean cycle's line power between the multiples of the firing order, noise taken off.
double half_order_share(const CycleBins& cut, int cylinders, double cycle_hz) {
    const auto lines = lines_of(cut);
    double between = 0.0, all = 0.0;
    for (std::size_t k = 1; k < cut.points / 2; ++k) {
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

/// Which firing a reference pulse belongs to: the one heard next after the spark. Nothing if the pulses don't come once
/// a cycle at one angle.
std::size_t firing_after(std::span<const double> reference_s, const CrankPath& path, const std::vector<double>& places,
                         double onset) {
    const std::size_t unknown = places.size();
    std::complex<double> sum = 0.0;
    double count = 0.0;
    for (const double t : reference_s) {
        if (t < path.start_s() || t > path.end_s()) continue;
        sum += std::polar(1.0, 2.0 * std::numbers::pi * path.phase_at(t));
        count += 1.0;
    }
    constexpr double kOnePerCycle = 0.25, kOneAngle = 0.9;
    // The bands' own slowness lets a swell begin before its firing.
    const double may_be_before = std::min(0.055, 0.3 / static_cast<double>(places.size()));
    if (std::fabs(count - path.cycles()) > kOnePerCycle * path.cycles() || std::abs(sum) < kOneAngle * count)
        return unknown;
    const double at = std::arg(sum) / (2.0 * std::numbers::pi);
    std::size_t best = unknown;
    double shortest = 2.0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        double after = onset + places[i] - at + may_be_before;
        after -= std::floor(after);
        if (after < shortest) shortest = after, best = i;
    }
    return best;
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
    if (path.cycles() < kFewestCycles) return out;
    const double cycle_hz = path.mean_cycle_hz();
    out.rpm = speed_from_cycle_frequency(engine_, Hertz{cycle_hz}).value;
    out.used_s = path.end_s() - path.start_s();
    const auto speeds = cycle_speeds(path, engine_);
    out.rpm_low = stats::quantile(speeds, 0.05);
    out.rpm_high = stats::quantile(speeds, 0.95);
    const auto cut = cut_cycles(split_, path, std::max<std::size_t>(96, 16 * n), kPoints);
    out.cycles = static_cast<int>(std::count(cut.usable.begin(), cut.usable.end(), 1));
    out.left_out_cycles = static_cast<int>(cut.cycles) - out.cycles;
    if (out.cycles < kFewestCycles) return out;
    out.steady = out.rpm_high < kSteadyRatio * out.rpm_low;
    if (!out.steady) return out;
    const auto fit = fit_swells(cut, engine_, cycle_hz);
    out.fit_share = fit.explained;
    if (n > 1 && engine_.firing_angles_deg.empty())
        out.half_order_share = half_order_share(cut, engine_.cylinders, cycle_hz);
    const bool tells = std::any_of(fit.bands.begin(), fit.bands.end(), [](const auto& b) { return b.tells; });
    out.heard = tells && fit.explained > kFitTells;
    if (!out.heard) return out;

    const auto places = firing_fractions(engine_);
    const auto strong = n > 1 ? strengths(fit, n) : std::vector<Strength>(1);
    std::vector<double> strength(n);
    for (std::size_t i = 0; i < n; ++i) strength[i] = std::exp(strong[i].log);
    const auto missing =
        count_misfires(cut, fit, fit_firings(split_, path, places, fit.onset_cycles, cut.cycles), strength);
    out.single_firing_sd = missing.sd;
    const auto soft = softer_half(strength, engine_);
    out.half_softer = std::any_of(soft.begin(), soft.end(), [](char s) { return s != 0; });
    std::size_t first = 0;  // the first firing of the stretch that is heard
    if (!reference_s.empty()) {
        first = firing_after(reference_s, path, places, fit.onset_cycles);
        out.rotation_known = first < n;
        if (!out.rotation_known) first = 0;
    }
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
        const bool counted = missing.tells && !(c.strength < kAlwaysWeak) && (m.told || !(c.strength < kWeakBelow));
        c.misfire_percent = counted ? 100.0 * m.share : kNone;
        c.misfire_low = counted ? 100.0 * m.low : kNone;
        c.misfire_high = counted ? 100.0 * m.high : kNone;
        c.p_misfire = counted ? std::min(1.0, count * m.p) : 1.0;
        const bool misses = c.p_misfire < kAccuse && m.low > kHarmlessMisfires;
        // Missing firings make the mean cycle weaker too, and a weak cylinder's are heard less surely: the surer of the
        // two is said.
        const bool weak = c.p_weak < kAccuse && s.log < std::log(kWeakBelow) && soft[i] == 0;
        if (weak && !(misses && c.p_misfire < c.p_weak))
            c.verdict = CylinderVerdict::weak;
        else if (misses)
            c.verdict = CylinderVerdict::misfires;
        else if (c.strength_low > kEvenAbove && counted && c.misfire_high < kMisfiresExcluded_percent)
            c.verdict = CylinderVerdict::even;
        else if (s.spread > 2.0 * kColourPrior && s.largest_z > 5.0)
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
