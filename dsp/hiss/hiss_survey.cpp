#include "dsp/hiss/hiss_survey.hpp"

#include "dsp/hiss/sound_spots.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t kFewestSpots = 4;
constexpr std::size_t kFewestLines = 3;
constexpr double kAlpha = 0.05;  // over all spots
constexpr double kMatters_db = 3.0;
// How far sound spots of an engine are apart (no source): near the head it clatters, elsewhere it does not.
constexpr double kLevelSpread_db = 2.5;
constexpr double kFollowSpread_db = 3.5;
constexpr double kLinesOpen_db = 2.0;     // the engine's lines are not equally loud everywhere (no source)
constexpr double kDeclaredOpen_db = 0.5;  // hands and couplings (no source)
constexpr double kSwells = 0.15;  // of itself: what flows freely swells by more, what is choked by less (no source)
constexpr double kTwoSided = 0.975;
constexpr double kTwoSidedSd = stats::kTwoSided95;

using Places = std::array<double, SpotHiss::kPlaces>;

double quantile_of(Places p, double share) {
    std::sort(p.begin(), p.end());
    return p[static_cast<std::size_t>(std::lround(share * static_cast<double>(p.size() - 1)))];
}
/// Ticks that come with every firing fill a few places; what rises above the rest as no smooth swell does is cut.
Places without_ticks(Places p) {
    const double upper = quantile_of(p, 0.6), lower = quantile_of(p, 0.1);
    for (double& v : p) v = std::min(v, upper + (upper - lower));
    return p;
}
double mean_of(const Places& places) {
    const auto p = without_ticks(places);
    double sum = 0.0;
    for (const double v : p) sum += v;
    return sum / static_cast<double>(p.size());
}
/// Square of the amplitude of the swell once per firing.
double swell_square(const Places& places) {
    const auto p = without_ticks(places);
    std::complex<double> sum = 0.0;
    for (std::size_t k = 0; k < p.size(); ++k)
        sum += p[k] * std::polar(1.0, 2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(p.size()));
    return 4.0 * std::norm(sum) / static_cast<double>(p.size() * p.size());
}
double power(double db) { return std::pow(10.0, 0.1 * db); }
double db(double power) { return power > 0.0 ? 10.0 * std::log10(power) : kNone; }

/// The leak bands together, each as a multiple of the floor given.
Places together(const SpotHiss& s, const std::vector<double>& floor, double gain, std::size_t without) {
    Places out{};
    for (std::size_t b = 0; b < floor.size(); ++b) {
        const auto& p = without < SpotHiss::kTenths ? s.bands[b].without[without] : s.bands[b].whole;
        for (std::size_t k = 0; k < p.size(); ++k) out[k] += p[k] / gain / floor[b] / static_cast<double>(floor.size());
    }
    return out;
}

/// A figure from the whole recording, and its variance from what leaving out a tenth changes.
template <class Of>
SpotFigure figure(const SpotHiss& s, const std::vector<double>& floor, double gain, Of&& of) {
    SpotFigure f{db(of(together(s, floor, gain, SpotHiss::kTenths)))};
    for (std::size_t t = 0; t < SpotHiss::kTenths; ++t) {
        const double v = db(of(together(s, floor, gain, t)));
        if (!std::isfinite(v)) return {};
        f.variance += (v - f.value_db) * (v - f.value_db);
    }
    f.variance *= static_cast<double>(SpotHiss::kTenths - 1) / static_cast<double>(SpotHiss::kTenths);
    return f;
}

/// What noise alone puts into the square of the swell.
double swell_noise(const SpotHiss& s, const std::vector<double>& floor, double gain) {
    const auto whole = together(s, floor, gain, SpotHiss::kTenths);
    double variance = 0.0;
    for (std::size_t t = 0; t < SpotHiss::kTenths; ++t) {
        const auto part = together(s, floor, gain, t);
        for (std::size_t k = 0; k < whole.size(); ++k) variance += (part[k] - whole[k]) * (part[k] - whole[k]);
    }
    variance *= static_cast<double>(SpotHiss::kTenths - 1) / static_cast<double>(SpotHiss::kTenths);
    return 4.0 * variance / static_cast<double>(whole.size() * whole.size());
}

/// How loud the engine's lines are in each recording against the survey's middle; NaN where too few are heard.
std::vector<double> line_gains(std::span<const SpotHiss> spots) {
    std::size_t lines = 0;
    for (const auto& s : spots) lines = std::max(lines, s.lines_db.size());
    std::vector<std::vector<double>> off(spots.size());
    for (std::size_t k = 0; k < lines; ++k) {
        std::vector<double> heard;
        for (const auto& s : spots)
            if (k < s.lines_db.size() && std::isfinite(s.lines_db[k])) heard.push_back(s.lines_db[k]);
        if (heard.size() < 2) continue;
        const double middle = stats::median(heard);
        for (std::size_t i = 0; i < spots.size(); ++i)
            if (k < spots[i].lines_db.size() && std::isfinite(spots[i].lines_db[k]))
                off[i].push_back(spots[i].lines_db[k] - middle);
    }
    std::vector<double> out(spots.size(), kNone);
    for (std::size_t i = 0; i < spots.size(); ++i)
        if (off[i].size() >= kFewestLines) out[i] = stats::median(off[i]);
    return out;
}

/// One figure of a spot against what a sound spot would show there.
struct Against {
    double value = kNone, low = kNone, high = kNone, p = 1.0;
    double middle = kNone;  ///< of the sound spots
    double least = kNone;   ///< over the middle, that passes the test over all spots
};

Against against_others(const std::vector<SpotFigure>& all, std::size_t i, double spread_db) {
    std::vector<SpotFigure> others;
    for (std::size_t k = 0; k < all.size(); ++k)
        if (k != i && std::isfinite(all[k].value_db)) others.push_back(all[k]);
    if (others.size() + 1 < kFewestSpots || !std::isfinite(all[i].value_db)) return {};
    const SoundSpots sound(others, spread_db);
    const auto& [value, variance] = all[i];
    const double middle = sound.middle_db(), spots = static_cast<double>(all.size());
    return {value - middle,
            value - sound.quantile_db(kTwoSided, variance),
            value - sound.quantile_db(1.0 - kTwoSided, variance),
            std::min(1.0, spots * sound.as_loud(value, variance)),
            middle,
            sound.quantile_db(1.0 - kAlpha / spots, variance) - middle};
}

/// Swell once, twice .. a cycle and less often than the firings, a share of the mean: a leak at one cylinder's runner.
/// Ticks are left out by a running median over the stretch from one firing to the next.
double cycle_depth(const SpotHiss& s, const std::vector<double>& floor) {
    const std::size_t n = s.bands.front().cycle.size();
    if (n < 2 * SpotHiss::kPlaces) return 0.0;
    std::vector<double> p(n), clean(n), near(SpotHiss::kPlaces + 1);
    for (std::size_t b = 0; b < floor.size(); ++b)
        for (std::size_t k = 0; k < n; ++k) p[k] += s.bands[b].cycle[k] / floor[b];
    double mean = 0.0;
    for (std::size_t k = 0; k < n; ++k) {
        for (std::size_t j = 0; j < near.size(); ++j) near[j] = p[(k + n + j - SpotHiss::kPlaces / 2) % n];
        mean += clean[k] = stats::median(near);
    }
    double most = 0.0;
    for (std::size_t order = 1; order < n / SpotHiss::kPlaces; ++order) {
        std::complex<double> sum = 0.0;
        for (std::size_t k = 0; k < n; ++k)
            sum += clean[k] * std::polar(1.0, 2.0 * std::numbers::pi * static_cast<double>(order * k % n) /
                                                  static_cast<double>(n));
        most = std::max(most, 2.0 * std::abs(sum) / mean);
    }
    return most;
}

/// How far the surplus of a loud spot swells, shares of itself. What sound spots swell may hide as much of it, or be
/// it.
struct Depth {
    double low = 0.0, high = 1.0;
};

Depth surplus_depth(const SpotFigure& level, const SpotFigure& follow, const Against& l, const Against& f,
                    double cycle_depth) {
    if (!std::isfinite(follow.value_db) || !std::isfinite(f.middle)) return {};
    const double all = power(level.value_db), own = power(f.middle), open = kTwoSidedSd * std::sqrt(follow.variance);
    const double least = 1.0 - power(-std::max(l.low, 0.0));  // of the spot's power that is surplus
    const double firing = (power(follow.value_db + open) + own) / all;
    return {(power(follow.value_db - open) - own) / all, least > 0.0 ? std::max(firing, cycle_depth) / least : 1.0};
}

}  // namespace

std::vector<SpotSurvey> survey_hiss(std::span<const SpotHiss> spots, std::span<const double> gain_db) {
    const std::size_t n = spots.size();
    if (!gain_db.empty() && gain_db.size() != n)
        throw std::invalid_argument("gain_db: " + std::to_string(gain_db.size()) + " values for " + std::to_string(n) +
                                    " spots");
    std::vector<SpotSurvey> out(n);
    if (n == 0) return out;
    std::size_t bands = SIZE_MAX;  // that all recordings carry
    for (const auto& s : spots) bands = std::min(bands, s.bands.size());

    std::vector<double> gain(n, 1.0);
    const auto by_lines = gain_db.empty() ? line_gains(spots) : std::vector<double>{};
    for (std::size_t i = 0; i < n; ++i) {
        const double g = gain_db.empty() ? by_lines[i] : gain_db[i];
        out[i].gain_db = g;
        gain[i] = std::isfinite(g) ? std::pow(10.0, 0.1 * g) : 0.0;  // not comparable without one
    }
    std::vector<double> floor(bands);
    for (std::size_t b = 0; b < bands; ++b) {
        std::vector<double> levels;
        for (std::size_t i = 0; i < n; ++i)
            if (gain[i] > 0.0) levels.push_back(mean_of(spots[i].bands[b].whole) / gain[i]);
        floor[b] = levels.empty() ? 0.0 : stats::median(levels);
        if (!(floor[b] > 0.0)) return out;  // most recordings hold nothing there
    }
    std::vector<SpotFigure> level(n), follow(n);
    for (std::size_t i = 0; i < n; ++i) {
        if (!(gain[i] > 0.0)) continue;
        level[i] = figure(spots[i], floor, gain[i], mean_of);
        if (!spots[i].follows_known) continue;
        const double noise = swell_noise(spots[i], floor, gain[i]);
        // A swell that noise could be is held at what noise could be: it follows no more than that.
        const auto swell = [noise](const Places& p) { return std::sqrt(std::max(swell_square(p) - noise, noise)); };
        follow[i] = figure(spots[i], floor, gain[i], swell);
        const auto p = together(spots[i], floor, gain[i], SpotHiss::kTenths);
        out[i].depth = swell(p) / mean_of(p);
    }
    const double open_db = gain_db.empty() ? kLinesOpen_db : kDeclaredOpen_db;
    for (std::size_t i = 0; i < n; ++i) {
        auto& s = out[i];
        const auto l = against_others(level, i, std::hypot(kLevelSpread_db, open_db));
        const auto f = against_others(follow, i, std::hypot(kFollowSpread_db, open_db));
        s.level_db = l.value, s.level_low_db = l.low, s.level_high_db = l.high, s.p_level = l.p;
        s.follow_db = f.value, s.follow_low_db = f.low, s.follow_high_db = f.high, s.p_follow = f.p;
        // What swells by half has to be twice what a sound spot may swell.
        if (std::isfinite(l.middle) && std::isfinite(f.middle))
            s.least_db = std::max({kMatters_db, l.least, db(1.0 + 2.0 * power(f.middle + f.least) / power(l.middle))});
        if (!spots[i].follows_known) s.depth = kNone;
        if (l.p < kAlpha && l.value >= kMatters_db) {
            const auto swells =
                surplus_depth(level[i], follow[i], l, f, spots[i].follows_known ? cycle_depth(spots[i], floor) : 1.0);
            s.verdict = s.p_follow < kAlpha && swells.low > kSwells ? HissVerdict::stands_out
                        : swells.high < kSwells                     ? HissVerdict::loud_steady
                                                                    : HissVerdict::loud_open;
        } else if (l.high < kMatters_db) {
            s.verdict = HissVerdict::ordinary;
        }
    }
    return out;
}

}  // namespace idlehark
