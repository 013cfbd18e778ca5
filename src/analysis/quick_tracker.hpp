#pragma once

#include "dsp/idle_tracker.hpp"
#include "src/analysis/side_thread.hpp"

#include <mutex>
#include <vector>

namespace idlehark {

/// An IdleTracker for sound that is all there: its second half works on a thread of its own. The readings are the same,
/// they only come when they come.
class QuickTracker {
   public:
    /// Throws std::invalid_argument as IdleTracker does.
    explicit QuickTracker(const IdleTrackerConfig& config) : tracker_(config) {}

    /// Takes samples; returns readings that have become ready, of these or of earlier ones.
    [[nodiscard]] std::vector<RpmReading> process(AudioView x);
    /// Waits for all readings that the sound so far makes ready.
    [[nodiscard]] std::vector<RpmReading> catch_up();
    /// End of the recording: all readings that are left.
    [[nodiscard]] std::vector<RpmReading> finish();
    /// After finish().
    void reset() { tracker_.reset(); }
    [[nodiscard]] const IdleTracker::Summary& summary() const noexcept { return tracker_.summary(); }
    [[nodiscard]] Seconds latency() const noexcept { return tracker_.latency(); }

   private:
    void read(const IdleTracker::Heard& heard);
    [[nodiscard]] std::vector<RpmReading> ready();

    IdleTracker tracker_;
    std::mutex mutex_;
    std::vector<RpmReading> ready_;
    SideThread reader_;  ///< the last: it uses all the others
};

}  // namespace idlehark
