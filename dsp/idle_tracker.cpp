#include "dsp/idle_tracker.hpp"

#include "dsp/statistics.hpp"
#include "dsp/track/comb_search.hpp"
#include "dsp/track/front_end.hpp"
#include "dsp/track/lock_judge.hpp"
#include "dsp/track/phase_refiner.hpp"
#include "dsp/track/run_speed.hpp"
#include "dsp/track/speed_path.hpp"

#include <cmath>
#include <limits>
#include <stdexcept>
#include <string>

// The way through: FrontEnd (lines and envelopes) -> CombSearch every tenth of a second -> SpeedPath (best path over
// the last frames) -> every half second the lock is judged and PhaseRefiner turns the path's last two seconds into
// fine speeds -> readings on the caller's grid.

namespace idlehark {

namespace {
constexpr double kFrame_s = 0.1;
constexpr std::int64_t kSegmentFrames = 5;    // fine speeds come out half a second at a time ...
constexpr std::int64_t kLookAheadFrames = 5;  // ... once this much has followed them
constexpr std::size_t kRemembered = 24;       // a refiner's segment and a little more
constexpr double kHeardScore = 0.5;           // below this a frame is not let into the mean cycle
constexpr double kWithinBlock = 1.0 / 6.0;    // mean of u(1-u): a random walk about the line between its ends
// What the noise model leaves out (pulses that ring into one another, disturbers that come and go): measured on
// simulated engines, tests/bench/tracker_bench.
constexpr double kUnmodelled = 1.22;
constexpr double kWidestSd = 0.03;  // of the speed: beyond this a figure helps nobody

IdleTrackerConfig checked(IdleTrackerConfig c) {
    check(c.engine);
    if (!(c.sample_rate_hz >= 8000.0 && c.sample_rate_hz <= 192000.0))
        throw std::invalid_argument("sample_rate_hz: " + std::to_string(c.sample_rate_hz) + " is not in 8000..192000");
    if (!(c.hop_s >= 0.02 && c.hop_s <= 2.0))
        throw std::invalid_argument("hop_s: " + std::to_string(c.hop_s) + " is not in 0.02..2");
    return c;
}

/// The same peaks as they stand a moment later, by their slopes.
std::vector<CombPeak> moved(std::vector<CombPeak> peaks, double by_s) {
    for (auto& p : peaks) p.log_cycle_hz += by_s * p.slope_per_s;
    return peaks;
}
}  // namespace

struct IdleTracker::Parts {
    explicit Parts(const IdleTrackerConfig& c)
        : config(checked(c)),
          sound(c.sample_rate_hz),
          search(sound, c.engine),
          path(kFrame_s, kRemembered),
          refiner(sound, c.engine, search.pattern_repeats()),
          run_speed(c.engine) {}

    void search_until(double end_s);
    void next_frame(const std::vector<CombPeak>& peaks);
    void judge_path();
    void segment();
    void ask_speed(double rpm);
    void read(double from_s, double to_s, const std::vector<FinePoint>& fine);
    [[nodiscard]] double heard_until_s() const;
    [[nodiscard]] double end_of_sound_s() const { return static_cast<double>(sound.samples) / config.sample_rate_hz; }

    IdleTrackerConfig config;
    FrontEnd sound;
    CombSearch search;
    SpeedPath path;
    PhaseRefiner refiner;
    LockJudge lock;
    std::int64_t frames = 0;  ///< searched so far; frame i is centred on i * kFrame_s
    std::int64_t next_reading = 0;
    std::vector<CoarsePoint> coarse;
    std::vector<RpmReading> readings;
    RunSpeed run_speed;
    std::uint64_t run = 0;  ///< that `run_speed` is about
    Summary summary;
};

double IdleTracker::Parts::heard_until_s() const {
    double until = sound.mid.time_s(sound.mid.end());
    for (const auto& e : sound.envelope) until = std::min(until, e.time_s(e.end()));
    return until;
}

void IdleTracker::Parts::search_until(double end_s) {
    for (;;) {
        // The first windows would reach before the recording: they look at its start instead.
        const double time_s = static_cast<double>(frames) * kFrame_s;
        const double centre_s = std::max(time_s, 0.5 * search.window_s());
        if (centre_s + 0.5 * search.window_s() > end_s) return;
        next_frame(moved(search.at(sound, centre_s), time_s - centre_s));
    }
}

void IdleTracker::Parts::next_frame(const std::vector<CombPeak>& peaks) {
    path.push(peaks);
    ++frames;
    if (frames > kSegmentFrames + kLookAheadFrames && (frames - 1) % kSegmentFrames == 0) segment();
    const double oldest_s = static_cast<double>(frames) * kFrame_s - PhaseRefiner::kSegment_s - 1.0;
    sound.mid.forget_before(sound.mid.index_at(oldest_s));
    for (auto& e : sound.envelope) e.forget_before(e.index_at(oldest_s));
}

void IdleTracker::Parts::judge_path() {
    const auto& trace = path.trace();
    const auto n = static_cast<std::int64_t>(trace.size());
    coarse.clear();
    for (std::int64_t i = 0; i < n; ++i) {
        const auto& p = trace[static_cast<std::size_t>(i)];
        coarse.push_back({.time_s = static_cast<double>(frames - n + i) * kFrame_s,
                          .cycle_hz = std::exp(p.log_cycle_hz),
                          .slope_per_s = p.slope_per_s,
                          .score = p.score,
                          .heard = std::isfinite(p.evidence) && p.score > kHeardScore});
    }
}

void IdleTracker::Parts::segment() {
    judge_path();
    const double end_s = static_cast<double>(frames - 1) * kFrame_s;
    const auto& fine = refiner.refine(sound, coarse, end_s);
    const bool tones_only = refiner.tones_only();
    const std::size_t first = coarse.size() - static_cast<std::size_t>(kLookAheadFrames + kSegmentFrames) - 1;
    for (std::size_t i = first; i < first + static_cast<std::size_t>(kSegmentFrames); ++i) {
        const auto& c = coarse[i];
        if (std::isfinite(c.score))
            lock.hear(tones_only ? std::min(c.score, 0.0) : c.score, std::log(c.cycle_hz), c.slope_per_s, kFrame_s);
        else
            lock.hear_nothing();
        read(c.time_s, c.time_s + kFrame_s, fine);
    }
    ask_speed(coarse[first + static_cast<std::size_t>(kSegmentFrames) - 1].cycle_hz *
              speed_from_cycle_frequency(config.engine, Hertz{1.0}).value);
    const std::size_t before = readings.size();
    lock.decided(readings);
    for (std::size_t i = before; i < readings.size(); ++i) {
        RpmReading& r = readings[i];
        if (!r.locked) continue;
        r.rpm *= run_speed.factor(), r.rpm_low *= run_speed.factor(), r.rpm_high *= run_speed.factor();
        run_speed.count(r.rpm);
    }
}

/// Lets the run's half orders say what its speed is, once it fills half a segment; `rpm` by the stated cylinders.
void IdleTracker::Parts::ask_speed(double rpm) {
    if (run != lock.runs()) {
        run = lock.runs();
        run_speed.new_run(rpm);
    }
    if (lock.run_s() >= 0.5 * PhaseRefiner::kSegment_s) run_speed.hear(refiner, rpm);
    if (run_speed.changed()) {
        lock.hear_nothing();
        run = lock.runs();
        run_speed.forget();
    }
    if (run_speed.known()) lock.vouch();
}

void IdleTracker::Parts::read(double from_s, double to_s, const std::vector<FinePoint>& fine) {
    const double rpm_per_hz = speed_from_cycle_frequency(config.engine, Hertz{1.0}).value;
    std::size_t f = 0;
    for (;; ++next_reading) {
        const double t = static_cast<double>(next_reading) * config.hop_s;
        if (t >= to_s - 1e-9) break;
        if (t < from_s - 1e-9) continue;
        while (f + 2 < fine.size() && fine[f + 1].time_s <= t) ++f;
        const double gap_s = fine[f + 1].time_s - fine[f].time_s;
        const double u = std::clamp((t - fine[f].time_s) / gap_s, 0.0, 1.0);
        const double hz = fine[f].cycle_hz + u * (fine[f + 1].cycle_hz - fine[f].cycle_hz);
        // Between two blocks the speed may have walked off the straight line.
        const double sd = kUnmodelled * std::sqrt((1.0 - u) * fine[f].variance + u * fine[f + 1].variance +
                                                  kWithinBlock * fine[f].walk_variance * gap_s);
        if (!std::isfinite(hz) || !(sd < kWidestSd * hz)) lock.hear_nothing();
        lock.take({.time_s = t,
                   .rpm = hz * rpm_per_hz,
                   .rpm_low = (hz - stats::kTwoSided95 * sd) * rpm_per_hz,
                   .rpm_high = (hz + stats::kTwoSided95 * sd) * rpm_per_hz,
                   .locked = true});
    }
}

IdleTracker::IdleTracker(const IdleTrackerConfig& config) : parts_(std::make_unique<Parts>(config)) {}
IdleTracker::~IdleTracker() = default;
IdleTracker::IdleTracker(IdleTracker&&) noexcept = default;
IdleTracker& IdleTracker::operator=(IdleTracker&&) noexcept = default;

std::span<const RpmReading> IdleTracker::process(AudioView x) {
    auto& p = *parts_;
    p.readings.clear();
    in_parts(x, [&p](AudioView part) {
        p.sound.process(part);
        p.search_until(p.heard_until_s());
    });
    return p.readings;
}

std::span<const RpmReading> IdleTracker::finish() {
    auto& p = *parts_;
    p.readings.clear();
    const double end_s = p.end_of_sound_s();
    p.sound.flush();
    const auto last_frame = static_cast<std::int64_t>(end_s / kFrame_s);
    while (p.frames <= last_frame) {  // and the last windows at its end
        const double time_s = static_cast<double>(p.frames) * kFrame_s;
        const double centre_s = std::clamp(time_s, 0.0, std::max(0.0, end_s - 0.5 * p.search.window_s()));
        p.next_frame(moved(p.search.at(p.sound, centre_s), time_s - centre_s));
    }
    static const std::vector<CombPeak> kNothing;
    while (static_cast<double>(p.next_reading) * p.config.hop_s < end_s) p.next_frame(kNothing);
    p.lock.finish();
    p.lock.decided(p.readings);
    while (!p.readings.empty() && p.readings.back().time_s >= end_s - 1e-9) p.readings.pop_back();
    return p.readings;
}

void IdleTracker::reset() {
    const auto config = parts_->config;
    parts_ = std::make_unique<Parts>(config);
}

Seconds IdleTracker::latency() const noexcept {
    return Seconds{0.5 * parts_->search.window_s() + static_cast<double>(kLookAheadFrames + kSegmentFrames) * kFrame_s};
}

const IdleTracker::Summary& IdleTracker::summary() const noexcept {
    auto& p = *parts_;
    p.summary.likelier_cylinders = p.run_speed.likelier_cylinders();
    p.summary.likelier_rpm = p.run_speed.likelier_rpm();
    p.summary.samples = p.sound.samples;
    p.summary.clipped_samples = p.sound.clipped_samples;
    p.summary.not_finite_samples = p.sound.not_finite_samples;
    return p.summary;
}

std::vector<RpmReading> track_idle(const IdleTrackerConfig& config, AudioView x) {
    IdleTracker tracker(config);
    std::vector<RpmReading> all;
    const auto part = tracker.process(x);
    all.assign(part.begin(), part.end());
    const auto rest = tracker.finish();
    all.insert(all.end(), rest.begin(), rest.end());
    return all;
}

}  // namespace idlehark
