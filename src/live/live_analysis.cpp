#include "src/live/live_analysis.hpp"

#include <utility>

namespace idlehark {

LiveAnalysis::LiveAnalysis(const IdleTrackerConfig& config, LiveAnalysisSinks sinks)
    : sinks_(std::move(sinks)), sample_rate_hz_(config.sample_rate_hz), tracker_(config), hiss_(config.sample_rate_hz) {
    if (sinks_.order_row)
        orders_.emplace(OrderRowsConfig{.sample_rate_hz = config.sample_rate_hz, .engine = config.engine});
}

void LiveAnalysis::process(AudioView mono) {
    frames_ += mono.size();
    if (orders_) orders_->process(mono);
    hand_out(tracker_.process(mono));
    hiss_.process(mono);
    hand_out_bursts();
}

void LiveAnalysis::gap() {
    const double now_s = static_cast<double>(frames_) / sample_rate_hz_;
    stretch_.until_s = now_s;
    hand_out(tracker_.finish());
    hiss_.gap();
    hand_out_bursts();
    tracker_.reset();
    if (orders_) orders_->reset();
    stretch_ = {.from_s = now_s};
}

void LiveAnalysis::finish() {
    hand_out(tracker_.finish());
    hiss_.finish();
    hand_out_bursts();
}

void LiveAnalysis::hand_out(std::span<const RpmReading> readings) {
    if (orders_)
        for (auto& row : orders_->rows(readings)) {
            row.time_s += stretch_.from_s;
            sinks_.order_row(std::move(row));
        }
    if (!sinks_.reading) return;
    for (LiveReading out; const auto& r : readings) {
        out.reading = r;
        out.near_gap = place(out.reading, stretch_, latency_s());
        sinks_.reading(out);
    }
}

void LiveAnalysis::hand_out_bursts() {
    for (; bursts_out_ < hiss_.bursts().size(); ++bursts_out_)
        if (sinks_.burst) sinks_.burst(hiss_.bursts()[bursts_out_]);
}

}  // namespace idlehark
