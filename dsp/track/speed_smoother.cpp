#include "dsp/track/speed_smoother.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace idlehark {

namespace {
// Walks tried, rpm per square root of a second: below 1 a machine on a bench, 2 to 6 an idling engine, 60 a step.
constexpr std::array<double, 9> kWalks{0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0};
// Where combustion is heard scatters from firing to firing, which no amount of sound level cures; crank degrees.
constexpr std::array<double, 6> kScatters_deg{0.0, 0.5, 1.0, 2.0, 4.0, 8.0};
// A walk seen over a few seconds is uncertain: ordinary idle (1 to 3 rpm of scatter within half a second) is likelier
// than none. Spread in natural logarithms. Common practice, no source.
constexpr double kUsualWalk = 4.0;
constexpr double kUsualSpread = 1.0;
constexpr double kMemory = 0.9;   // of the likelihood, from one segment to the next
constexpr double kOverlap = 0.3;  // segments overlap: the share of a segment's likelihood that is news
constexpr double kFirstWalk = 8.0;
constexpr double kFirstScatter_deg = 1.0;
constexpr double kReturn_s = 0.4;       // the reference follows what is slower than this
constexpr double kUnknownPhase = 0.05;  // cycles, of the first block
constexpr std::size_t kLogEvery = 8;    // blocks: variances of a hundred-millionth each do not leave the numbers' range

}  // namespace

SpeedSmoother::SpeedSmoother(double crank_deg_per_cycle)
    : cycle_deg_(crank_deg_per_cycle),
      scores_(kWalks.size() * kScatters_deg.size()),
      walk_rpm_(kFirstWalk),
      scatter_deg_(kFirstScatter_deg) {}

double SpeedSmoother::walk_variance() const noexcept {
    const double walk_hz = walk_rpm_ * 6.0 / cycle_deg_;
    return walk_hz * walk_hz * scale_ * doubt_;
}

/// The likeliest scatter, and the walk at the summit of a parabola through the scores about the best; how flat that
/// summit is widens the variances, which go with the 3/2 power of the walk (mean of a log-normal).
void SpeedSmoother::choose() {
    std::array<double, kWalks.size()> by_walk{};
    std::size_t best = 0;
    for (std::size_t w = 0; w < kWalks.size(); ++w) {
        const auto first = scores_.begin() + static_cast<std::ptrdiff_t>(w * kScatters_deg.size());
        const double unusual = std::log(kWalks[w] / kUsualWalk) / kUsualSpread;
        by_walk[w] = *std::max_element(first, first + kScatters_deg.size()) - 0.5 * unusual * unusual;
        if (by_walk[w] > by_walk[best]) best = w;
    }
    const auto first = scores_.begin() + static_cast<std::ptrdiff_t>(best * kScatters_deg.size());
    scatter_deg_ =
        kScatters_deg[static_cast<std::size_t>(std::max_element(first, first + kScatters_deg.size()) - first)];
    const std::size_t middle = std::clamp<std::size_t>(best, 1, kWalks.size() - 2);
    const double curvature = by_walk[middle - 1] - 2.0 * by_walk[middle] + by_walk[middle + 1];
    const double step = std::log(kWalks[1] / kWalks[0]);
    double offset = static_cast<double>(best) - static_cast<double>(middle);
    if (curvature < 0.0 && best == middle) offset = 0.5 * (by_walk[middle - 1] - by_walk[middle + 1]) / curvature;
    walk_rpm_ = kWalks[middle] * std::exp(step * offset);
    const double log_variance = curvature < 0.0 ? step * step / -curvature : kUsualSpread * kUsualSpread;
    doubt_ = std::exp(1.125 * std::min(log_variance, kUsualSpread * kUsualSpread));
    const double top = *std::max_element(scores_.begin(), scores_.end());
    for (double& s : scores_) s -= top;
}

/// Runs the filter for N scatters side by side; `keep(j, before, after)` sees the states about each block.
template <std::size_t N, class Keep>
std::array<SpeedSmoother::Fit, N> SpeedSmoother::filter(std::span<const PhaseMeasurement> measured, double start_sd_hz,
                                                        double q, const std::array<double, N>& scatter_variance,
                                                        Keep&& keep_states) const {
    using Each = std::array<double, N>;
    States<N> s{};
    s.pp.fill(kUnknownPhase * kUnknownPhase);
    s.vv.fill(start_sd_hz * start_sd_hz);
    Each determinant, log_determinant{}, squares{};
    determinant.fill(1.0);
    std::size_t n = 0;
    for (std::size_t j = 0; j < measured.size(); ++j) {
        if (j > 0) {
            // Exact step of p' = v, v' = -v/T + noise, but for terms of third order in dt/T.
            const auto [dt, keep, reach] = ways_[j];
            const double to_pp = q * dt * dt * dt / 3.0, to_pv = q * dt * dt / 2.0,
                         to_vv = q * 0.5 * kReturn_s * (1.0 - keep * keep);
            for (std::size_t i = 0; i < N; ++i) {
                s.p[i] += reach * s.v[i];
                s.pp[i] += reach * (2.0 * s.pv[i] + reach * s.vv[i]) + to_pp;
                s.pv[i] = keep * (s.pv[i] + reach * s.vv[i]) + to_pv;
                s.vv[i] = keep * keep * s.vv[i] + to_vv;
                s.v[i] *= keep;
            }
        }
        const States<N> before = s;
        if (measured[j].information > 0.0) {
            const double noise = 1.0 / measured[j].information;
            for (std::size_t i = 0; i < N; ++i) {
                const double total = s.pp[i] + noise + scatter_variance[i];
                const double over_total = 1.0 / total;
                const double innovation = measured[j].moved_cycles - s.p[i];
                const double gain_p = s.pp[i] * over_total, gain_v = s.pv[i] * over_total;
                s.p[i] += gain_p * innovation;
                s.v[i] += gain_v * innovation;
                s.vv[i] -= gain_v * s.pv[i];
                s.pv[i] -= gain_p * s.pv[i];
                s.pp[i] -= gain_p * s.pp[i];
                determinant[i] *= total;
                squares[i] += innovation * innovation * over_total;
            }
            if (++n % kLogEvery == 0)
                for (std::size_t i = 0; i < N; ++i) {
                    log_determinant[i] += std::log(determinant[i]);
                    determinant[i] = 1.0;
                }
        }
        keep_states(j, before, s);
    }
    std::array<Fit, N> fits;
    for (std::size_t i = 0; i < N; ++i) {
        // A common scale of all variances, concentrated out of the likelihood; never below what the sound's noise says.
        const auto count = static_cast<double>(n);
        const double scale = n > 0 ? std::max(squares[i] / count, 1.0) : 1.0;
        const double log_all = log_determinant[i] + std::log(determinant[i]);
        fits[i] = {.scale = scale, .log_likelihood = -0.5 * (log_all + count * std::log(scale) + squares[i] / scale)};
    }
    return fits;
}

const std::vector<SpeedSmoother::Speed>& SpeedSmoother::smooth(std::span<const PhaseMeasurement> measured,
                                                               double start_sd_hz, bool learn) {
    ways_.assign(1, {});
    for (std::size_t j = 1; j < measured.size(); ++j) {
        const double dt = measured[j].time_s - measured[j - 1].time_s;
        const double keep = std::exp(-dt / kReturn_s);
        ways_.push_back({.dt = dt, .keep = keep, .reach = kReturn_s * (1.0 - keep)});
    }
    const auto walk_variance = [&](double walk_rpm) {
        const double walk_hz = walk_rpm * 6.0 / cycle_deg_;  // 1 rpm is 6 degrees a second
        return walk_hz * walk_hz;
    };
    const auto scatter_variance = [&](double scatter_deg) {
        const double scatter = scatter_deg / cycle_deg_;
        return scatter * scatter;
    };
    if (learn) {
        std::array<double, kScatters_deg.size()> scatters;
        std::transform(kScatters_deg.begin(), kScatters_deg.end(), scatters.begin(), scatter_variance);
        for (std::size_t w = 0; w < kWalks.size(); ++w) {
            const auto fits = filter(measured, start_sd_hz, walk_variance(kWalks[w]), scatters,
                                     [](std::size_t, const auto&, const auto&) {});
            for (std::size_t i = 0; i < fits.size(); ++i) {
                double& score = scores_[w * kScatters_deg.size() + i];
                score = kMemory * score + kOverlap * fits[i].log_likelihood;
            }
        }
        choose();
    }
    steps_.resize(measured.size());
    scale_ = filter(measured, start_sd_hz, walk_variance(walk_rpm_), std::array{scatter_variance(scatter_deg_)},
                    [this](std::size_t j, const States<1>& before, const States<1>& after) {
                        steps_[j] = {before.p[0], before.v[0], before.pp[0], before.pv[0], before.vv[0],
                                     after.p[0],  after.v[0],  after.pp[0],  after.pv[0],  after.vv[0]};
                    })[0]
                 .scale;

    out_.resize(measured.size());
    double p = 0.0, v = 0.0, pp = 0.0, pv = 0.0, vv = 0.0;
    for (std::size_t j = measured.size(); j-- > 0;) {
        const Step& s = steps_[j];
        if (j + 1 == measured.size()) {
            p = s.phase, v = s.speed, pp = s.pp, pv = s.pv, vv = s.vv;
        } else {
            const Step& next = steps_[j + 1];
            const double det = next.pp_before * next.vv_before - next.pv_before * next.pv_before;
            const double i00 = next.vv_before / det, i01 = -next.pv_before / det, i11 = next.pp_before / det;
            const double keep = ways_[j + 1].keep, reach = ways_[j + 1].reach;
            const double x00 = s.pp + reach * s.pv, x01 = keep * s.pv;  // covariance with the next block's prediction
            const double x10 = s.pv + reach * s.vv, x11 = keep * s.vv;
            const double g00 = x00 * i00 + x01 * i01, g01 = x00 * i01 + x01 * i11;
            const double g10 = x10 * i00 + x11 * i01, g11 = x10 * i01 + x11 * i11;
            const double dp = p - next.phase_before, dv = v - next.speed_before;
            const double d00 = pp - next.pp_before, d01 = pv - next.pv_before, d11 = vv - next.vv_before;
            const double a00 = g00 * d00 + g01 * d01, a01 = g00 * d01 + g01 * d11;
            const double a10 = g10 * d00 + g11 * d01, a11 = g10 * d01 + g11 * d11;
            p = s.phase + g00 * dp + g01 * dv;
            v = s.speed + g10 * dp + g11 * dv;
            pp = s.pp + a00 * g00 + a01 * g01;
            pv = s.pv + a00 * g10 + a01 * g11;
            vv = s.vv + a10 * g10 + a11 * g11;
        }
        out_[j] = {.change_hz = v, .variance = std::max(vv, 0.0) * scale_ * doubt_};
    }
    return out_;
}

}  // namespace idlehark
