#pragma once

#include "dsp/idle_tracker.hpp"
#include "dsp/track/order_rows.hpp"
#include "src/analysis/between_gaps.hpp"

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace idlehark {

struct LiveReading {
    RpmReading reading;
    bool near_gap = false;  ///< sound is missing within the tracker's reach of it: it gives no figure
};

struct LiveAnalysisSinks {
    std::function<void(const LiveReading&)> reading;
    std::function<void(const HissBurst&)> burst;
    std::function<void(OrderRow)> order_row;  ///< without it no orders are reckoned
};

/// The listening of `idle` and `bursts`, told about gaps: the same samples give the same digits.
/// A gap ends everything measured so far and starts everything afresh, so that missing sound never looks like a
/// change of speed; times go on counting in recorded frames. Threads: one owner.
class LiveAnalysis {
   public:
    /// Throws std::invalid_argument as IdleTracker does.
    LiveAnalysis(const IdleTrackerConfig& config, LiveAnalysisSinks sinks);

    void process(AudioView mono);
    void gap();
    void finish();
    /// Age of the sound behind a reading.
    [[nodiscard]] double latency_s() const noexcept { return tracker_.latency().value; }

   private:
    void hand_out(std::span<const RpmReading> readings);
    void hand_out_bursts();

    LiveAnalysisSinks sinks_;
    double sample_rate_hz_;
    IdleTracker tracker_;
    GapHissFinder hiss_;
    std::optional<OrderRows> orders_;
    std::uint64_t frames_ = 0;
    SoundStretch stretch_;
    std::size_t bursts_out_ = 0;
};

}  // namespace idlehark
