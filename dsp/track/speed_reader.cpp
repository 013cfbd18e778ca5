#include "dsp/track/speed_reader.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {
constexpr std::int64_t kSegmentFrames = 5;    // fine speeds come out half a second at a time ...
constexpr std::int64_t kLookAheadFrames = 5;  // ... once this much has followed them
constexpr std::size_t kRemembered = 24;       // a refiner's segment and a little more
constexpr double kHeardScore = 0.5;           // below this a frame is not let into the mean cycle
constexpr double kWithinBlock = 1.0 / 6.0;    // mean of u(1-u): a random walk about the line between its ends
// What the noise model leaves out (pulses that ring into one another, disturbers that come and go): measured on
// simulated engines, tests/bench/tracker_bench.
constexpr double kUnmodelled = 1.22;
constexpr double kWidestSd = 0.03;  // of the speed: beyond this a figure helps nobody
}  // namespace

SpeedReader::SpeedReader(const IdleTrackerConfig& config, const CombListener& listener)
    : config_(config),
      sound_(listener.sound().signals),
      path_(CombFrame::kSpacing_s, kRemembered),
      refiner_(sound_, config.engine, listener.search().pattern_repeats()),
      run_speed_(config.engine) {}

double SpeedReader::look_ahead_s() noexcept {
    return static_cast<double>(kLookAheadFrames + kSegmentFrames) * CombFrame::kSpacing_s;
}

void SpeedReader::take(const CombFrame& frame, std::vector<RpmReading>& readings) {
    std::size_t k = 0;
    sound_.each([&](Timeline& t) { t.append(frame.sound[k++]); });
    path_.push(frame.peaks);
    ++frames_;
    if (frames_ > kSegmentFrames + kLookAheadFrames && (frames_ - 1) % kSegmentFrames == 0) segment(readings);
    sound_.forget_before(static_cast<double>(frames_) * CombFrame::kSpacing_s - PhaseRefiner::kSegment_s - 1.0);
}

void SpeedReader::finish(double end_s, std::vector<RpmReading>& readings) {
    while (static_cast<double>(next_reading_) * config_.hop_s < end_s) take({}, readings);
    lock_.finish();
    lock_.decided(readings);
    while (!readings.empty() && readings.back().time_s >= end_s - 1e-9) readings.pop_back();
}

void SpeedReader::judge_path() {
    const auto& trace = path_.trace();
    const auto n = static_cast<std::int64_t>(trace.size());
    coarse_.clear();
    for (std::int64_t i = 0; i < n; ++i) {
        const auto& p = trace[static_cast<std::size_t>(i)];
        coarse_.push_back({.time_s = static_cast<double>(frames_ - n + i) * CombFrame::kSpacing_s,
                           .cycle_hz = std::exp(p.log_cycle_hz),
                           .slope_per_s = p.slope_per_s,
                           .score = p.score,
                           .heard = std::isfinite(p.evidence) && p.score > kHeardScore});
    }
}

void SpeedReader::segment(std::vector<RpmReading>& readings) {
    judge_path();
    const double end_s = static_cast<double>(frames_ - 1) * CombFrame::kSpacing_s;
    const auto& fine = refiner_.refine(sound_, coarse_, end_s);
    const bool tones_only = refiner_.tones_only();
    const std::size_t first = coarse_.size() - static_cast<std::size_t>(kLookAheadFrames + kSegmentFrames) - 1;
    for (std::size_t i = first; i < first + static_cast<std::size_t>(kSegmentFrames); ++i) {
        const auto& c = coarse_[i];
        if (std::isfinite(c.score))
            lock_.hear(tones_only ? std::min(c.score, 0.0) : c.score, std::log(c.cycle_hz), c.slope_per_s,
                       CombFrame::kSpacing_s);
        else
            lock_.hear_nothing();
        read(c.time_s, c.time_s + CombFrame::kSpacing_s, fine);
    }
    ask_speed(coarse_[first + static_cast<std::size_t>(kSegmentFrames) - 1].cycle_hz *
              speed_from_cycle_frequency(config_.engine, Hertz{1.0}).value);
    const std::size_t before = readings.size();
    lock_.decided(readings);
    for (std::size_t i = before; i < readings.size(); ++i) {
        RpmReading& r = readings[i];
        if (!r.locked) continue;
        r.rpm *= run_speed_.factor(), r.rpm_low *= run_speed_.factor(), r.rpm_high *= run_speed_.factor();
        run_speed_.count(r.rpm);
    }
}

/// Lets the run's half orders say what its speed is, once it fills half a segment; `rpm` by the stated cylinders.
void SpeedReader::ask_speed(double rpm) {
    if (run_ != lock_.runs()) {
        run_ = lock_.runs();
        run_speed_.new_run(rpm);
    }
    if (lock_.run_s() >= 0.5 * PhaseRefiner::kSegment_s) run_speed_.hear(refiner_, rpm);
    if (run_speed_.changed()) {
        lock_.hear_nothing();
        run_ = lock_.runs();
        run_speed_.forget();
    }
    if (run_speed_.known()) lock_.vouch();
}

void SpeedReader::read(double from_s, double to_s, const std::vector<FinePoint>& fine) {
    const double rpm_per_hz = speed_from_cycle_frequency(config_.engine, Hertz{1.0}).value;
    std::size_t f = 0;
    for (;; ++next_reading_) {
        const double t = static_cast<double>(next_reading_) * config_.hop_s;
        if (t >= to_s - 1e-9) break;
        if (t < from_s - 1e-9) continue;
        while (f + 2 < fine.size() && fine[f + 1].time_s <= t) ++f;
        const double gap_s = fine[f + 1].time_s - fine[f].time_s;
        const double u = std::clamp((t - fine[f].time_s) / gap_s, 0.0, 1.0);
        const double hz = fine[f].cycle_hz + u * (fine[f + 1].cycle_hz - fine[f].cycle_hz);
        // Between two blocks the speed may have walked off the straight line.
        const double sd = kUnmodelled * std::sqrt((1.0 - u) * fine[f].variance + u * fine[f + 1].variance +
                                                  kWithinBlock * fine[f].walk_variance * gap_s);
        if (!std::isfinite(hz) || !(sd < kWidestSd * hz)) lock_.hear_nothing();
        lock_.take({.time_s = t,
                    .rpm = hz * rpm_per_hz,
                    .rpm_low = (hz - stats::kTwoSided95 * sd) * rpm_per_hz,
                    .rpm_high = (hz + stats::kTwoSided95 * sd) * rpm_per_hz,
                    .locked = true});
    }
}

}  // namespace idlehark
