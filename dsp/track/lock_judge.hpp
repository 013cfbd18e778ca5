#pragma once

#include "dsp/idle_tracker.hpp"

#include <cstdint>
#include <deque>
#include <vector>

namespace idlehark {

/// Decides which readings the sound supports. Evidence adds up along an unbroken run of speed (a cumulative sum with a
/// drift that noise cannot outrun and a cap that limits how long a stalled engine is still believed in); a jump no
/// engine makes starts a new run, unless the path comes back within a few frames. Readings of a run that is not yet
/// believed wait, and are handed out as locked once it is, as unlocked once it breaks: so a lock reaches back to the
/// start of its run, and costs no reading. Source   E. S. Page, Continuous inspection schemes, Biometrika 41 (1954)
/// 100.
class LockJudge {
   public:
    /// The next frame of the path: its score (standard deviations of what noise gives), or that there was nothing.
    void hear(double score, double log_speed, double slope_per_s, double frame_s);
    void hear_nothing();
    /// The run's speed is known: it may be believed once the evidence suffices. Every run waits for this.
    void vouch() noexcept { vouched_ = true; }
    /// A reading at the time of the last frame heard.
    void take(const RpmReading& reading);
    /// Hands out, in time order, the readings that are decided.
    void decided(std::vector<RpmReading>& out);
    /// How long the run has lasted.
    [[nodiscard]] double run_s() const noexcept { return run_s_; }
    [[nodiscard]] std::uint64_t runs() const noexcept { return runs_; }
    /// End of the recording: what still waits is handed out unlocked.
    void finish();

   private:
    [[nodiscard]] static RpmReading without_figure(RpmReading r);
    void break_run();
    std::deque<RpmReading> waiting_;
    std::vector<RpmReading> ready_;
    RpmReading last_;
    double sum_ = 0.0;
    double run_s_ = 0.0;                     ///< how long the run has lasted
    double run_low_ = 0.0, run_high_ = 0.0;  ///< log speeds it has reached
    double wait_s_ = 0.0;                    ///< how long it must last to be believed
    double log_speed_ = 0.0;
    int away_ = 0;  ///< frames since the path left its run
    bool any_before_ = false;
    bool believed_ = false;
    bool vouched_ = false;
    std::uint64_t runs_ = 0;  ///< broken so far
};

}  // namespace idlehark
