#include "dsp/compare/idle_figures.hpp"

#include "dsp/evidence/disturbances.hpp"
#include "dsp/least_squares.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/statistics.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

namespace idlehark {

namespace {

using namespace evidence;

constexpr double kStep_s = 0.25;
constexpr int kNoiseOrder = 40;  // 10 s: a full swing of the slowest hunting
constexpr double kLeast_s = 10.0;
constexpr double kEnough_s = 20.0;  // of idle without answers; else all of it counts
constexpr double kAnswer_s = 10.0;  // after a burst
constexpr double kDriftBlock_s = 5.0;
constexpr double kStretch_s = 10.0;  // which even the shortest recording has

struct Band {
    double low_hz, high_hz;
};
constexpr Band kHunting{0.08, 0.6}, kWander{0.6, 2.0};

struct Power {
    double rpm2;   // mean square within the band
    double ln_sd;  // of half the logarithm of it: of an amplitude
};

Power band_power(const ColouredNoise& noise, double step_s, Band band, double heard_s) {
    const auto filter = noise.whitening();
    constexpr double kFine_hz = 0.002;
    double sum = 0.0, sum_of_squares = 0.0;
    for (double f = band.low_hz + 0.5 * kFine_hz; f < std::min(band.high_hz, 0.5 / step_s); f += kFine_hz) {
        double re = 0.0, im = 0.0;
        for (std::size_t k = 0; k < filter.size(); ++k) {
            const double phase = 2.0 * std::numbers::pi * f * step_s * static_cast<double>(k);
            re += filter[k] * std::cos(phase);
            im += filter[k] * std::sin(phase);
        }
        const double density = 2.0 * step_s * noise.innovation_rpm * noise.innovation_rpm / (re * re + im * im);
        sum += density * kFine_hz;
        sum_of_squares += density * density * kFine_hz;
    }
    return {sum, 0.5 * std::sqrt(sum_of_squares / heard_s) / sum};
}

/// Mean square within the band by Hann's window over stretches of one length, whatever the recording's: the noise model
/// of a short recording books part of a regular hunting as what is faster. Without a whole stretch the model's.
Power stretch_power(const SpeedTrace& trace, const ColouredNoise& noise, Band band, double heard_s) {
    const auto n = static_cast<std::size_t>(std::lround(kStretch_s / trace.step_s));
    const auto window = hann_window(n);
    RealFft fft(n);
    std::vector<float> stretch(n);
    std::vector<std::complex<float>> bins(fft.bins());
    const double bin_hz = 1.0 / (static_cast<double>(n) * trace.step_s);
    const auto first = static_cast<std::size_t>(std::ceil(band.low_hz / bin_hz)), last = n / 2;
    std::vector<double> power(last - first + 1, 0.0);
    double stretches = 0.0, window_power = 0.0;
    for (const float w : window) window_power += static_cast<double>(w) * static_cast<double>(w);
    for (std::size_t from = 0; from + n <= trace.size(); from += n / 2) {
        const std::span rpm(trace.rpm.data() + from, n);
        if (std::any_of(trace.seen.begin() + static_cast<std::ptrdiff_t>(from),
                        trace.seen.begin() + static_cast<std::ptrdiff_t>(from + n), [](char seen) { return !seen; }))
            continue;
        const double mean = stats::mean(rpm);
        stretches += 1.0;
        for (std::size_t i = 0; i < n; ++i) stretch[i] = window[i] * static_cast<float>(rpm[i] - mean);
        fft.forward(stretch, bins);
        for (std::size_t k = first; k <= last; ++k) {
            const double sides = 2 * k == n ? 1.0 : 2.0;
            power[k - first] +=
                sides * static_cast<double>(std::norm(bins[k])) / (window_power * static_cast<double>(n));
        }
    }
    if (stretches < 1.0) return band_power(noise, trace.step_s, band, heard_s);
    double sum = 0.0, squares = 0.0;
    for (const double p : power) {
        sum += p / stretches;
        squares += p * p / (stretches * stretches);
    }
    squares /= 1.0 + 1.0 / stretches;  // a periodogram's own scatter
    return {sum, 0.5 * std::sqrt(squares / (bin_hz * heard_s)) / sum};
}

/// Slope of the medians of short blocks: what hunting and answers to spray do is nearly out of it.
void measure_drift(const SpeedTrace& trace, IdleFigures& out) {
    const auto block = static_cast<std::size_t>(kDriftBlock_s / trace.step_s);
    std::vector<double> at_min, rpm;
    for (std::size_t from = 0; from + block <= trace.size(); from += block) {
        std::vector<double> heard;
        for (std::size_t i = from; i < from + block; ++i)
            if (trace.seen[i]) heard.push_back(trace.rpm[i]);
        if (2 * heard.size() < block) continue;
        at_min.push_back(trace.time_s(from + block / 2) / 60.0);
        rpm.push_back(stats::median(heard));
    }
    if (rpm.size() < 4) return;
    const auto n = static_cast<Eigen::Index>(rpm.size());
    Eigen::MatrixXd x(n, 2);
    x.col(0).setOnes();
    x.col(1) = Eigen::Map<const Eigen::VectorXd>(at_min.data(), n);
    const auto fit = fit_least_squares(x, Eigen::Map<const Eigen::VectorXd>(rpm.data(), n));
    out.drift_rpm_per_min = fit.coefficients[1];
    out.drift_sd = std::sqrt(fit.covariance(1, 1));
}

double mean_seen(const SpeedTrace& t) {
    double sum = 0.0, n = 0.0;
    for (std::size_t i = 0; i < t.size(); ++i)
        if (t.seen[i]) {
            sum += t.rpm[i];
            n += 1.0;
        }
    return sum / n;
}

double seen_s(const SpeedTrace& t) {
    return t.step_s * static_cast<double>(std::count_if(t.seen.begin(), t.seen.end(), [](char s) { return s != 0; }));
}

}  // namespace

IdleFigures measure_idle(std::span<const RpmReading> readings, std::span<const double> bursts_s) {
    IdleFigures out;
    auto trace = resample(readings, kStep_s);
    if (seen_s(trace) < kLeast_s) return out;
    measure_drift(trace, out);
    auto quiet = trace;
    for (const double b : bursts_s)
        for (long i = std::max(0L, trace.index(b)); i < trace.index(b + kAnswer_s); ++i)
            if (i < static_cast<long>(quiet.size())) quiet.seen[static_cast<std::size_t>(i)] = 0;
    if (seen_s(quiet) >= kEnough_s) {
        trace = quiet;
        bridge_gaps(trace.rpm, trace.seen);
    }
    out.heard_s = seen_s(trace);

    const auto found = find_disturbances(trace, kNoiseOrder);
    const WhitenedTrace white(found.cleaned.rpm, found.cleaned.seen, found.noise);
    const auto fit = white.score(white.probe(std::vector<double>(trace.size(), 1.0)), 0);
    // Whatever steps were taken out belongs to the speed's uncertainty: which side of them is the idle?
    const double stepped = mean_seen(trace) - mean_seen(found.cleaned);
    out.speed_rpm = {mean_seen(trace), std::sqrt(1.0 / fit.information + stepped * stepped), kIdleVisit_rpm};
    const auto hunting = band_power(found.noise, trace.step_s, kHunting, out.heard_s);
    out.hunting_rpm = {std::sqrt(2.0 * hunting.rpm2), hunting.ln_sd, kHuntingVisit_ln};
    const auto wander = stretch_power(found.cleaned, found.noise, kWander, out.heard_s);
    out.wander_rpm = {std::sqrt(wander.rpm2), wander.ln_sd, kWanderVisit_ln};
    return out;
}

}  // namespace idlehark
