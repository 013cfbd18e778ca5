#include "dsp/hiss/hiss_survey.hpp"

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
constexpr double kLinesOpen_db = 1.5;     // the engine's lines are not equally loud everywhere (no source)
constexpr double kDeclaredOpen_db = 0.5;  // hands and couplings (no source)
constexpr double kLeastSpread_db = 0.7;   // a few spots may agree by chance
constexpr double kTwoSided = 0.975;

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
double db(double power) { return power > 0.0 ? 10.0 * std::log10(power) : kNone; }

/// One figure of every spot in dB, and what its own recording leaves open.
struct Figure {
    double value = kNone, variance = 0.0;
};

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
Figure figure(const SpotHiss& s, const std::vector<double>& floor, double gain, Of&& of) {
    Figure f{db(of(together(s, floor, gain, SpotHiss::kTenths)))};
    for (std::size_t t = 0; t < SpotHiss::kTenths; ++t) {
        const double v = db(of(together(s, floor, gain, t)));
        if (!std::isfinite(v)) return {};
        f.variance += (v - f.value) * (v - f.value);
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

struct Against {
    double value = kNone, low = kNone, high = kNone, p = 1.0;
};

/// One spot against the middle of the others.
Against against_others(const std::vector<Figure>& all, std::size_t i, double gain_open_db) {
    std::vector<double> others;
    for (std::size_t k = 0; k < all.size(); ++k)
        if (k != i && std::isfinite(all[k].value)) others.push_back(all[k].value);
    if (others.size() + 1 < kFewestSpots || !std::isfinite(all[i].value)) return {};
    const double n = static_cast<double>(others.size());
    const double spread = std::max(kLeastSpread_db, stats::kMadToSd * stats::median_absolute_deviation(others));
    // The others' spread holds their own gain's error; the median of n has pi/2 of the mean's variance.
    const double variance =
        spread * spread * (1.0 + 0.5 * std::numbers::pi / n) + all[i].variance + gain_open_db * gain_open_db;
    const double sd = std::sqrt(variance);
    Against a;
    a.value = all[i].value - stats::median(others);
    const double reach = sd * stats::student_t_quantile(kTwoSided, n - 1.0);
    a.low = a.value - reach;
    a.high = a.value + reach;
    a.p = std::min(1.0, (n + 1.0) * stats::student_t_cdf(-a.value / sd, n - 1.0));
    return a;
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
    std::vector<Figure> level(n), follow(n);
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
        const auto l = against_others(level, i, open_db);
        const auto f = against_others(follow, i, open_db);
        s.level_db = l.value, s.level_low_db = l.low, s.level_high_db = l.high, s.p_level = l.p;
        s.follow_db = f.value, s.follow_low_db = f.low, s.follow_high_db = f.high, s.p_follow = f.p;
        if (!spots[i].follows_known) s.depth = kNone;
        const bool loud = l.p < kAlpha && l.value >= kMatters_db;
        if (loud && f.p < kAlpha)
            s.verdict = HissVerdict::stands_out;
        else if (loud)
            s.verdict = HissVerdict::loud_steady;
        else if (l.high < kMatters_db)
            s.verdict = HissVerdict::ordinary;
    }
    return out;
}

}  // namespace idlehark
