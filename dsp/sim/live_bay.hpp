#pragma once

#include "dsp/sim/random.hpp"
#include "dsp/sim/session.hpp"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace idlehark::sim {

/// A simulated bay in which somebody sprays while it runs: for practice with prompts, and for measuring planners.
/// The engine, its unrest and its surroundings are those of the session; its own bursts are left out. Without sprays
/// the speed is the same whatever happens; the same sprays at the same times give the same sound.
/// Input    `spray()` at a time not yet rendered, ascending, not overlapping.
/// Errors   constructor: std::invalid_argument (as Session). spray(): std::out_of_range for a spot that is none.
class LiveBay {
   public:
    /// `longest_s`: from then on the speed no longer changes.
    LiveBay(const SessionSpec& spec, double longest_s);
    ~LiveBay();
    LiveBay(LiveBay&&) noexcept;
    LiveBay& operator=(LiveBay&&) noexcept;

    /// A burst on one spot, or a pass over several: each then gets its part of the time, one after the other, and as
    /// much less spray. What hands do (HandsSpec: misses, uneven amounts, drift to neighbours) is drawn here.
    void spray(double time_s, std::span<const std::size_t> spots, double duration_s);

    [[nodiscard]] const SessionSpec& spec() const noexcept;
    [[nodiscard]] const SpeedPath& path() const noexcept;
    [[nodiscard]] const std::vector<SessionBurst>& bursts() const noexcept;  ///< one entry per spot and spray
    /// What the microphone hands out from frame 0 on; made when first asked for. Never restart it.
    [[nodiscard]] Source& sound();

   private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark::sim
