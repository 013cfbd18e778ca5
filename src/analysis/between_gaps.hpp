#pragma once

#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/idle_tracker.hpp"
#include "dsp/units.hpp"
#include "src/recording/recorder.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

namespace idlehark {

// Missing sound is no evidence. Everything measured ends where sound is missing and starts afresh behind it; here is
// how, for live sound and for replay alike, so that both come to the same.

/// Sound without a gap in it; its tracker's second 0 is `from_s` of the recording. 0: nothing is missing before it.
struct SoundStretch {
    double from_s = 0.0;
    double until_s = std::numeric_limits<double>::infinity();  ///< the gap that ends it; none known: infinity
};

/// Moves a reading of the stretch into the recording's time. Within `reach_s` (the tracker's latency) of a gap it gives
/// no figure: not locked, every speed NaN. Returns whether it is that near.
bool place(RpmReading& reading, const SoundStretch& stretch, double reach_s) noexcept;

/// A HissFinder that is told of gaps: no hiss reaches over one, nor does what it knows of the sound around. Times count
/// in the frames given.
/// Errors   constructor: as HissFinder. Threads: one owner.
class GapHissFinder {
   public:
    explicit GapHissFinder(double sample_rate_hz);
    void process(AudioView x);
    /// Sound is missing before what comes next.
    void gap();
    void finish();
    /// Bursts decided so far, in time order.
    [[nodiscard]] const std::vector<HissBurst>& bursts() const noexcept { return bursts_; }

   private:
    void collect();

    double sample_rate_hz_;
    HissFinder finder_;
    std::uint64_t frames_ = 0;
    double origin_s_ = 0.0;      ///< of the finder's time: the last gap
    std::size_t collected_ = 0;  ///< of the finder's bursts
    std::vector<HissBurst> bursts_;
};

/// Cuts the blocks of a recording where its events tell of missing sound.
class GapCutter {
   public:
    explicit GapCutter(const std::string& sound_path) : gaps_(read_gaps(sound_path)) {}
    /// Calls `sound` with each part of the block, in order, and `gap` with the frame where sound is missing before the
    /// next.
    template <class Sound, class Gap>
    void cut(AudioView block, Sound&& sound, Gap&& gap) {
        while (!block.empty()) {
            if (next_ < gaps_.size() && gaps_[next_].frame <= played_) {
                ++next_;
                gap(played_);
                continue;
            }
            auto n = block.size();
            if (next_ < gaps_.size()) n = std::min<std::uint64_t>(n, gaps_[next_].frame - played_);
            sound(block.first(n));
            block = block.subspan(n);
            played_ += n;
        }
    }
    [[nodiscard]] std::size_t gaps() const noexcept { return gaps_.size(); }

   private:
    std::vector<RecordedGap> gaps_;
    std::size_t next_ = 0;
    std::uint64_t played_ = 0;
};

}  // namespace idlehark
