#pragma once

#include "dsp/engine.hpp"
#include "dsp/units.hpp"

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

struct IdleTrackerConfig {
    double sample_rate_hz = 48000.0;  ///< 8000..192000
    Engine engine;                    ///< cylinders, strokes, firing angles and idle range are used
    double hop_s = 0.1;               ///< spacing of the readings, 0.02..2
};

/// One figure: the crank speed at `time_s`. When not locked the speeds are NaN (never 0 rpm).
struct RpmReading {
    double time_s = 0.0;
    double rpm = 0.0;
    double rpm_low = 0.0;  ///< 95 % interval for the speed at that moment
    double rpm_high = 0.0;
    bool locked = false;
};

/// Tracks idle speed from one microphone by the comb of half orders. See idle_tracker.cpp for the way through.
/// Input    mono float at config.sample_rate_hz; any block length, 0 too; the numbers do not depend on the blocks.
/// Output   readings in time order, at k * hop_s, each once its look-ahead has been heard.
/// Errors   constructor: std::invalid_argument. process(): none; NaN and infinity are heard as silence and counted.
/// Threads  one owner; two with hear() and read().
class IdleTracker {
   public:
    explicit IdleTracker(const IdleTrackerConfig& config);
    ~IdleTracker();
    IdleTracker(IdleTracker&&) noexcept;
    IdleTracker& operator=(IdleTracker&&) noexcept;

    /// Takes samples; returns the readings that became ready. The span is valid until the next call.
    [[nodiscard]] std::span<const RpmReading> process(AudioView x);
    /// End of the recording: the readings that still waited for look-ahead.
    [[nodiscard]] std::span<const RpmReading> finish();
    /// process() and finish() in two halves of about the same work: what hear() and hear_end() return goes to read(),
    /// in order. One thread may hear while another reads; nothing else is called meanwhile.
    struct Frames;
    using Heard = std::shared_ptr<const Frames>;
    [[nodiscard]] Heard hear(AudioView x);
    [[nodiscard]] Heard hear_end();
    [[nodiscard]] std::span<const RpmReading> read(const Heard& heard);
    void reset();
    /// Age of the sound behind a reading when it is handed out.
    [[nodiscard]] Seconds latency() const noexcept;

    /// Filled as the sound goes by; meant to be read at the end.
    struct Summary {
        /// Another number of cylinders that explains the half orders better; or, where it divides the stated one, as
        /// well. 0 if none does.
        int likelier_cylinders = 0;
        double likelier_rpm = 0.0;  ///< the speed it gives
        std::uint64_t not_finite_samples = 0;
        std::uint64_t clipped_samples = 0;  ///< at or beyond full scale in runs of two or more
        std::uint64_t samples = 0;
    };
    [[nodiscard]] const Summary& summary() const noexcept;

   private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

/// The whole recording at once, for tests and short files.
[[nodiscard]] std::vector<RpmReading> track_idle(const IdleTrackerConfig& config, AudioView x);

}  // namespace idlehark
