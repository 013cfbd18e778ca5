#include "src/analysis/between_gaps.hpp"

namespace idlehark {

bool place(RpmReading& reading, const SoundStretch& stretch, double reach_s) noexcept {
    const bool after_gap = stretch.from_s > 0.0 && reading.time_s < reach_s;
    reading.time_s += stretch.from_s;
    const bool near = after_gap || reading.time_s > stretch.until_s - reach_s;
    if (near) {
        reading.rpm = reading.rpm_low = reading.rpm_high = std::numeric_limits<double>::quiet_NaN();
        reading.locked = false;
    }
    return near;
}

GapHissFinder::GapHissFinder(double sample_rate_hz)
    : sample_rate_hz_(sample_rate_hz), finder_({.sample_rate_hz = sample_rate_hz}) {}

void GapHissFinder::process(AudioView x) {
    frames_ += x.size();
    finder_.process(x);
    collect();
}

void GapHissFinder::gap() {
    finish();
    finder_.reset();
    collected_ = 0;
    origin_s_ = static_cast<double>(frames_) / sample_rate_hz_;
}

void GapHissFinder::finish() {
    finder_.finish();
    collect();
}

void GapHissFinder::collect() {
    for (; collected_ < finder_.bursts().size(); ++collected_) {
        bursts_.push_back(finder_.bursts()[collected_]);
        bursts_.back().time_s += origin_s_;
    }
}

}  // namespace idlehark
