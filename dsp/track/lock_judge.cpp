#include "dsp/track/lock_judge.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {
constexpr double kDrift = 1.8;      // score that noise's best path reaches, and a little: 1.4, nine in ten below 1.8
constexpr double kMostScore = 3.6;  // more evidence makes a second of sound no longer
constexpr double kLeastScore = -4.0;
constexpr double kBelieve = 3.2;      // score seconds: 1.8 s of strong evidence, 6 s at 6 dB below the noise
constexpr double kMostSum = 4.0;      // so that a stall is seen within half a second
constexpr double kDoubt = 2.6;        // 0.8 s of bare noise after the best of locks: a stall is not hidden for long
constexpr double kJump = 0.05;        // relative, between frames beyond the slope: a note's step, not an engine's
constexpr double kUsualStep_s = 0.1;  // between readings, for the jump
constexpr int kMostAway = 3;          // frames that may stray and come back
// A run that stood out, kept its pitch and then jumped was a note of music: what follows must last longer than notes
// do.
constexpr double kStoodOut = 1.0;
constexpr double kKeptPitch = 0.025;  // highest over lowest, logarithm: the path's own scatter and a little
constexpr double kNotANote_s = 5.0;
constexpr std::size_t kMostWaiting = 4096;
}  // namespace

RpmReading LockJudge::without_figure(RpmReading r) {
    r.rpm = r.rpm_low = r.rpm_high = std::numeric_limits<double>::quiet_NaN();
    r.locked = false;
    return r;
}

void LockJudge::break_run() {
    sum_ = run_s_ = 0.0;
    believed_ = vouched_ = false;
    away_ = 0;
    ++runs_;
    for (const auto& r : waiting_) ready_.push_back(without_figure(r));
    waiting_.clear();
}

void LockJudge::hear(double score, double log_speed, double slope_per_s, double frame_s) {
    const bool jumped = any_before_ && std::abs(log_speed - log_speed_ - slope_per_s * frame_s) > kJump;
    if (jumped && ++away_ > kMostAway) {
        if (sum_ > kStoodOut && run_high_ - run_low_ < kKeptPitch) wait_s_ = kNotANote_s;
        break_run();
    }
    if (!jumped) away_ = 0;
    any_before_ = true;
    sum_ = std::min(kMostSum, sum_ + frame_s * (std::clamp(away_ > 0 ? 0.0 : score, kLeastScore, kMostScore) - kDrift));
    if (sum_ <= 0.0) break_run();
    if (away_ == 0) {  // a broken run starts anew where it broke
        log_speed_ = log_speed;
        run_low_ = run_s_ > 0.0 ? std::min(run_low_, log_speed) : log_speed;
        run_high_ = run_s_ > 0.0 ? std::max(run_high_, log_speed) : log_speed;
    }
    run_s_ += frame_s;
    if (sum_ >= kBelieve && run_s_ >= wait_s_) {
        believed_ = true;
        wait_s_ = 0.0;
    }
    if (sum_ < kDoubt) believed_ = false;  // readings wait again, and are handed out either way once it is clear
}

void LockJudge::hear_nothing() { break_run(); }

void LockJudge::take(const RpmReading& reading) {
    // The refined speeds too: a jump there says that the path was not the engine's.
    const double steps = std::max(1.0, (reading.time_s - last_.time_s) / kUsualStep_s);
    if (away_ > 0) {
        waiting_.push_back(without_figure(reading));
        return;
    }
    if (last_.locked && std::abs(std::log(reading.rpm / last_.rpm)) > kJump * steps) break_run();
    last_ = reading;
    waiting_.push_back(reading);
    if (waiting_.size() > kMostWaiting) break_run();
}

void LockJudge::decided(std::vector<RpmReading>& out) {
    if (believed_ && vouched_) {
        ready_.insert(ready_.end(), waiting_.begin(), waiting_.end());
        waiting_.clear();
    }
    out.insert(out.end(), ready_.begin(), ready_.end());
    ready_.clear();
}

void LockJudge::finish() { break_run(); }

}  // namespace idlehark
