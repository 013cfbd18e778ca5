#include "dsp/track/phase_refiner.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <tuple>

namespace idlehark {

namespace {
// Each pass may use lines up to here: the lowest forgive the coarse path's errors, the highest measure finest.
constexpr std::array<double, 3> kPassHighest_hz{220.0, 400.0, 600.0};
constexpr double kToneHighest_hz = 420.0;  // as high as the passes before the last make sure of
constexpr double kHighestLine_hz = 640.0;
constexpr double kHighestModulation_hz = 320.0;
constexpr double kGrid_s = 0.02;          // on which the coarse path is smoothed
constexpr double kPathSmoothing_s = 0.2;  // takes the frames' scatter off the path
// The reference is a parabola, so smooth that all wander is left to the random walk, unless the engine surges: it then
// follows the path, by the square of what the parabola leaves over against this (rpm, four-stroke).
constexpr double kSurge_rpm = 8.0;
constexpr double kSurgeSmoothing_s = 0.3;
constexpr double kCoarseError = 0.004;  // relative, of the path we start from
// Foreign tones that are cut have companions that lie too near the comb to be: variance added for all being foreign.
constexpr double kForeignDoubt = 6.0;
// Tones only. Music that led to a lock has up to 11 lines and mostly as many tones and more, a fan 4 to 9 lines that
// hold over a third of the power: an engine of so few lines holds less, beside a fan as loud, too.
constexpr std::size_t kLinesInMusic = 12;
constexpr double kTonesPerLine = 0.7;
constexpr std::size_t kLinesOfFan = 10;
constexpr double kShareOfFan = 0.33;
// Mean score below which the coarse path is not trusted alone; and where so much of what the last segment's mean cycle
// left over was foreign tones (in noise alone one segment in a hundred): a loud one near a line leads it off.
constexpr double kFaint = 4.5;
constexpr double kFaintBesideTones = 9.0;
constexpr double kForeignTones = 0.05;
constexpr double kScoreWeight = 0.05;  // frames are a tenth of a second apart
constexpr double kCoherentHighest_hz = 240.0;
constexpr double kCoherentModulation_hz = 160.0;
constexpr double kPlainer = 3.0;  // evidence that the scattered path must be better by
constexpr std::size_t kStepsPerBlock = 2;
constexpr double kShortestBlock_s = 0.025;
constexpr double kLongestBlock_s = 0.085;

/// A block holds one repeat of the firing pattern, so that pulses of equal strength are cut alike at both ends; several
/// repeats where they are short, a part where they are long.
double choose_blocks_per_cycle(const Engine& e, int repeats) {
    const double cycle_s = 1.0 / cycle_frequency(e, Rpm{0.5 * (e.idle_low_rpm + e.idle_high_rpm)}).value;
    int blocks = repeats;
    for (int fewer = repeats; fewer >= 1; --fewer)
        if (repeats % fewer == 0 && cycle_s / blocks < kShortestBlock_s) blocks = fewer;
    while (cycle_s / blocks > kLongestBlock_s) blocks *= 2;
    return blocks;
}

/// Triangular mean over +- reach_s, shortened alike on both sides at the ends, so that a ramp comes out as it went in.
void smooth_path(const std::vector<double>& x, double reach_s, std::vector<double>& y) {
    const int reach = static_cast<int>(std::lround(reach_s / kGrid_s));
    const auto n = static_cast<int>(x.size());
    y.resize(x.size());
    for (int j = 0; j < n; ++j) {
        const int r = std::min({reach, j, n - 1 - j});
        double sum = 0.0, weight = 0.0;
        for (int i = j - r; i <= j + r; ++i) {
            const double w = r + 1.0 - std::abs(i - j);
            sum += w * x[static_cast<std::size_t>(i)];
            weight += w;
        }
        y[static_cast<std::size_t>(j)] = sum / weight;
    }
}

/// Between which two points of a path a time lies, the first of them in `k`, and how far on the way.
double way_past(std::span<const CoarsePoint> path, std::size_t& k, double time_s) {
    while (k + 2 < path.size() && path[k + 1].time_s < time_s) ++k;
    return std::clamp((time_s - path[k].time_s) / (path[k + 1].time_s - path[k].time_s), 0.0, 1.0);
}

double on_grid(const std::vector<double>& y, double time_s) {
    const double x = std::clamp(time_s / kGrid_s - 0.5, 0.0, static_cast<double>(y.size()) - 1.001);
    const auto i = static_cast<std::size_t>(x);
    return y[i] + (x - static_cast<double>(i)) * (y[i + 1] - y[i]);
}
}  // namespace

PhaseRefiner::PhaseRefiner(const Signals& rates, const Engine& engine, int firing_pattern_repeats)
    : repeats_(firing_pattern_repeats),
      blocks_per_cycle_(choose_blocks_per_cycle(engine, firing_pattern_repeats)),
      surge_scale_(6.0 / cycle_deg(engine)),
      smoother_(cycle_deg(engine)),
      search_(kSegment_s) {
    signals_.emplace_back(rates.mid.rate_hz(), kSegment_s, std::min(kHighestLine_hz, 0.4 * rates.mid.rate_hz()), 512);
    for (const auto& e : rates.envelope)
        signals_.emplace_back(e.rate_hz(), kSegment_s, std::min(kHighestModulation_hz, 0.45 * e.rate_hz()), 256);
}

void PhaseRefiner::hear_count(CylinderCount& count) { count.hear(signals_[0], path_, kPassHighest_hz.back()); }

bool PhaseRefiner::tones_only() const noexcept {
    const auto& sound = signals_[0];
    const bool music = sound.lines() < kLinesInMusic && sound.foreign_tones_per_line() > kTonesPerLine;
    const bool fan = sound.lines() < kLinesOfFan && sound.share() > kShareOfFan;
    return music || fan;
}

void PhaseRefiner::lay_reference() {
    const auto n = static_cast<double>(coarse_.size());
    double sums[3] = {}, norms[3] = {};
    const auto basis = [n](std::size_t j) {  // orthogonal on the grid
        const double x = (2.0 * static_cast<double>(j) + 1.0) / n - 1.0;
        return std::array<double, 3>{1.0, x, x * x - (1.0 - 1.0 / (n * n)) / 3.0};
    };
    for (std::size_t j = 0; j < coarse_.size(); ++j) {
        const auto b = basis(j);
        for (std::size_t k = 0; k < 3; ++k) {
            sums[k] += b[k] * coarse_[j];
            norms[k] += b[k] * b[k];
        }
    }
    smooth_path(coarse_, kSurgeSmoothing_s, far_);
    const auto parabola = [&](std::size_t j) {
        const auto b = basis(j);
        return b[0] * sums[0] / norms[0] + b[1] * sums[1] / norms[1] + b[2] * sums[2] / norms[2];
    };
    plain_.resize(coarse_.size());
    for (std::size_t j = 0; j < plain_.size(); ++j) plain_[j] = parabola(j);
    double left = 0.0;
    for (std::size_t j = 0; j < far_.size(); ++j) left += (far_[j] - parabola(j)) * (far_[j] - parabola(j)) / n;
    const double surge_hz = kSurge_rpm * surge_scale_;
    const double follow = left / (left + surge_hz * surge_hz);
    for (std::size_t j = 0; j < far_.size(); ++j) far_[j] = parabola(j) + follow * (far_[j] - parabola(j));
}

void PhaseRefiner::lay_grids(std::span<const CoarsePoint> path, double first_s) {
    coarse_.resize(static_cast<std::size_t>(std::lround(kSegment_s / kGrid_s)));
    std::size_t k = 0;
    for (std::size_t j = 0; j < coarse_.size(); ++j) {
        const double u = way_past(path, k, first_s + (static_cast<double>(j) + 0.5) * kGrid_s);
        coarse_[j] = path[k].cycle_hz + u * (path[k + 1].cycle_hz - path[k].cycle_hz);
    }
    smooth_path(coarse_, kPathSmoothing_s, near_);
    lay_reference();
}

void PhaseRefiner::lay_path(std::span<const CoarsePoint> path, double first_s) {
    lay_grids(path, first_s);
    path_.start_s.assign(1, 0.0);
    path_.speed_hz.clear();
    path_.heard.clear();
    std::size_t k = 0;
    double t = 0.0;
    while (t < kSegment_s || path_.steps() % kStepsPerBlock != 0) {
        const double length_s = 1.0 / (on_grid(near_, t) * blocks_per_cycle_ * static_cast<double>(kStepsPerBlock));
        const double middle = t + 0.5 * length_s;
        path_.speed_hz.push_back(on_grid(near_, middle));
        const double u = way_past(path, k, first_s + middle);
        path_.heard.push_back(path[u < 0.5 ? k : k + 1].heard && middle < kSegment_s);
        t += length_s;
        path_.start_s.push_back(t);
    }
    path_.integrate();
    take_reference();
}

/// A path with the same steps at the speeds of a grid.
CyclePath PhaseRefiner::along(const std::vector<double>& grid) const {
    CyclePath path = path_;
    for (std::size_t k = 0; k < path.steps(); ++k)
        path.speed_hz[k] = on_grid(grid, 0.5 * (path.start_s[k] + path.start_s[k + 1]));
    path.integrate();
    return path;
}

void PhaseRefiner::take_reference() {
    reference_ = along(far_);
    join_in_the_middle();
}

/// Where a noise drowned the comb, the path may have gone astray: the bridge over those frames is taken unless the
/// lines add up in phase clearly better along the path. How well they do along the one that was taken.
SpeedShift PhaseRefiner::prefer_bridge(std::span<const CoarsePoint> path, double first_s) {
    const auto by_path = listen_along(path_);
    const auto keep = std::tuple{coarse_, near_, far_, plain_};
    lay_grids(path, first_s);
    const CyclePath bridged = along(near_);
    const auto by_bridge = listen_along(bridged);
    if (by_bridge.evidence > by_path.evidence - kPlainer) {
        path_ = bridged;
        take_reference();
        return by_bridge;
    }
    std::tie(coarse_, near_, far_, plain_) = keep;
    return by_path;
}

/// The mean phase is anybody's: path and reference agree in the middle.
void PhaseRefiner::join_in_the_middle() {
    const std::size_t middle = path_.steps() / 2;
    const double apart = path_.phase[middle] - reference_.phase[middle];
    for (double& p : reference_.phase) p += apart;
}

/// How well the lines add up in phase along a path, and the shift with which they do so best.
SpeedShift PhaseRefiner::listen_along(const CyclePath& path) {
    search_.begin();
    search_.hear(signals_[0], path, repeats_, kCoherentHighest_hz);
    for (std::size_t e = 1; e < signals_.size(); ++e) search_.hear(signals_[e], path, repeats_, kCoherentModulation_hz);
    return search_.best();
}

/// A faint sound leaves the coarse path scattered, and one loud tone outweighs many lines: whichever of it and a plain
/// parabola through it makes the lines add up in phase over the whole segment, with the shift at which they do so best.
void PhaseRefiner::straighten(const SpeedShift& along_path) {
    const CyclePath plain = along(plain_);
    const auto along_plain = listen_along(plain);
    const bool take_plain = along_plain.evidence > along_path.evidence - kPlainer;
    shift_ = take_plain ? along_plain : along_path;
    const auto moved = [this](double time_s) {
        return 1.0 + shift_.offset + shift_.rise_per_s * (time_s - 0.5 * kSegment_s);
    };
    if (take_plain) {
        far_ = plain_;
        path_.speed_hz = plain.speed_hz;
    }
    for (std::size_t j = 0; j < far_.size(); ++j) far_[j] *= moved((static_cast<double>(j) + 0.5) * kGrid_s);
    for (std::size_t k = 0; k < path_.steps(); ++k)
        path_.speed_hz[k] *= moved(0.5 * (path_.start_s[k] + path_.start_s[k + 1]));
    path_.integrate();
    take_reference();
}

/// The smoothed change of speed, a value a block, put on the reference step by step.
void PhaseRefiner::move_path(std::span<const SpeedSmoother::Speed> change) {
    std::size_t j = 0;
    for (std::size_t s = 0; s < path_.steps(); ++s) {
        const double t = 0.5 * (path_.start_s[s] + path_.start_s[s + 1]);
        while (j + 2 < measured_.size() && measured_[j + 1].time_s < t) ++j;
        const double u =
            std::clamp((t - measured_[j].time_s) / (measured_[j + 1].time_s - measured_[j].time_s), 0.0, 1.0);
        path_.speed_hz[s] =
            reference_.speed_hz[s] + change[j].change_hz + u * (change[j + 1].change_hz - change[j].change_hz);
    }
    path_.integrate();
}

const std::vector<FinePoint>& PhaseRefiner::refine(const Signals& sound, std::span<const CoarsePoint> path,
                                                   double end_s) {
    const double first_s = end_s - kSegment_s;
    lay_path(path, first_s);
    const auto [slowest, fastest] = std::minmax_element(reference_.speed_hz.begin(), reference_.speed_hz.end());
    const double low = *slowest, high = *fastest;
    signals_[0].take(sound.mid, first_s, path_.start_s, low, high);
    for (std::size_t e = 0; e < Signals::kEnvelopes; ++e)
        signals_[e + 1].take(sound.envelope[e], first_s, path_.start_s, low, high);

    double score = 0.0;
    for (const auto& p : path)
        if (p.time_s > first_s) score += std::max(p.score, -1.0) * kScoreWeight;
    shift_ = {};
    std::optional<SpeedShift> along_path;
    if (const auto bridged = drowned_.bridged(path, first_s); !bridged.empty())
        along_path = prefer_bridge(bridged, first_s);
    if (score < (signals_[0].foreign_share() > kForeignTones ? kFaintBesideTones : kFaint))
        straighten(along_path ? *along_path : listen_along(path_));

    const std::size_t blocks = path_.steps() / kStepsPerBlock;
    measured_.resize(blocks);
    std::span<const SpeedSmoother::Speed> change;
    for (const double& highest_hz : kPassHighest_hz) {
        const bool last = &highest_hz == &kPassHighest_hz.back();
        if (last) signals_[0].cut_foreign_tones(path_, kToneHighest_hz);
        gradient_.assign(blocks, 0.0);
        information_.assign(blocks, 0.0);
        for (auto& s : signals_) {
            s.average(path_, highest_hz);
            s.compare(path_, kStepsPerBlock, gradient_, information_);
        }
        for (std::size_t j = 0; j < blocks; ++j) {
            const std::size_t s = j * kStepsPerBlock;
            const std::size_t mid = s + kStepsPerBlock / 2;
            const bool heard = path_.heard[s] && path_.heard[s + kStepsPerBlock - 1];
            measured_[j] = {.time_s = 0.5 * (path_.start_s[s] + path_.start_s[s + kStepsPerBlock]),
                            .moved_cycles = path_.phase[mid] - reference_.phase[mid],
                            .information = heard ? information_[j] : 0.0};
            if (information_[j] > 0.0) measured_[j].moved_cycles += gradient_[j] / information_[j];
        }
        change = smoother_.smooth(measured_, kCoarseError * low, last);
        move_path(change);
    }
    const double doubt = 1.0 + kForeignDoubt * signals_[0].foreign_share();
    out_.clear();
    for (std::size_t j = 0; j < blocks; ++j) {
        const double t = measured_[j].time_s - 0.5 * kSegment_s;
        const double hz = on_grid(far_, measured_[j].time_s) + change[j].change_hz;
        const double open = shift_.offset_variance + t * (2.0 * shift_.covariance + t * shift_.rise_variance);
        out_.push_back({.time_s = first_s + measured_[j].time_s,
                        .cycle_hz = hz,
                        .variance = change[j].variance * doubt + open * hz * hz,
                        .walk_variance = smoother_.walk_variance() * doubt});
    }
    return out_;
}

}  // namespace idlehark
