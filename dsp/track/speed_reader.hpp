#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"
#include "dsp/track/comb_listener.hpp"
#include "dsp/track/lock_judge.hpp"
#include "dsp/track/phase_refiner.hpp"
#include "dsp/track/run_speed.hpp"
#include "dsp/track/speed_path.hpp"

#include <cstdint>
#include <vector>

namespace idlehark {

/// The tracker's second half: frames in, readings out, each once its look-ahead has been heard.
class SpeedReader {
   public:
    SpeedReader(const IdleTrackerConfig& config, const CombListener& listener);

    void take(const CombFrame& frame, std::vector<RpmReading>& readings);
    /// End of the recording: the readings that still waited for look-ahead.
    void finish(double end_s, std::vector<RpmReading>& readings);

    [[nodiscard]] static double look_ahead_s() noexcept;
    [[nodiscard]] const RunSpeed& run_speed() const noexcept { return run_speed_; }

   private:
    void judge_path();
    void segment(std::vector<RpmReading>& readings);
    void ask_speed(double rpm);
    void read(double from_s, double to_s, const std::vector<FinePoint>& fine);

    IdleTrackerConfig config_;
    Signals sound_;
    SpeedPath path_;
    PhaseRefiner refiner_;
    LockJudge lock_;
    std::int64_t frames_ = 0;
    std::int64_t next_reading_ = 0;
    std::vector<CoarsePoint> coarse_;
    RunSpeed run_speed_;
    std::uint64_t run_ = 0;  ///< that `run_speed_` is about
};

}  // namespace idlehark
