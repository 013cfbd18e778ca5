#include "src/live/live_analysis.hpp"

#include <limits>
#include <utility>

namespace idlehark {

namespace {
constexpr double kNone_s = std::numeric_limits<double>::infinity();
}

LiveAnalysis::LiveAnalysis(const IdleTrackerConfig& config, LiveAnalysisSinks sinks)
    : sinks_(std::move(sinks)),
      sample_rate_hz_(config.sample_rate_hz),
      tracker_(config),
      hiss_({.sample_rate_hz = config.sample_rate_hz}) {
    if (sinks_.order_row)
        orders_.emplace(OrderRowsConfig{.sample_rate_hz = config.sample_rate_hz, .engine = config.engine});
}

void LiveAnalysis::process(AudioView mono) {
    frames_ += mono.size();
    if (orders_) orders_->process(mono);
    hand_out(tracker_.process(mono), kNone_s);
    hiss_.process(mono);
    hand_out_bursts();
}

void LiveAnalysis::gap() {
    const double now_s = static_cast<double>(frames_) / sample_rate_hz_;
    hand_out(tracker_.finish(), now_s);
    hiss_.finish();
    hand_out_bursts();
    tracker_.reset();
    if (orders_) orders_->reset();
    hiss_.reset();
    bursts_out_ = 0;
    origin_s_ = now_s;
    after_gap_ = true;
}

void LiveAnalysis::finish() {
    hand_out(tracker_.finish(), kNone_s);
    hiss_.finish();
    hand_out_bursts();
}

void LiveAnalysis::hand_out(std::span<const RpmReading> readings, double next_gap_s) {
    if (orders_)
        for (auto& row : orders_->rows(readings)) {
            row.time_s += origin_s_;
            sinks_.order_row(std::move(row));
        }
    if (!sinks_.reading) return;
    for (LiveReading out; const auto& r : readings) {
        out.reading = r;
        out.near_gap = (after_gap_ && r.time_s < latency_s()) || origin_s_ + r.time_s > next_gap_s - latency_s();
        out.reading.time_s += origin_s_;
        sinks_.reading(out);
    }
}

void LiveAnalysis::hand_out_bursts() {
    for (; bursts_out_ < hiss_.bursts().size(); ++bursts_out_) {
        HissBurst burst = hiss_.bursts()[bursts_out_];
        burst.time_s += origin_s_;
        if (sinks_.burst) sinks_.burst(burst);
    }
}

}  // namespace idlehark
