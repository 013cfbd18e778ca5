#pragma once

#include "dsp/units.hpp"

#include <cstdint>
#include <memory>
#include <vector>

namespace idlehark {

struct HissFinderConfig {
    double sample_rate_hz = 48000.0;  ///< 8000..192000
};

/// One burst of spray-can hiss.
struct HissBurst {
    double time_s = 0.0;  ///< onset, from the start of the recording
    double duration_s = 0.0;
    double level_db = 0.0;    ///< power of the hiss over that of the background around it, above 2 kHz
    double confidence = 0.0;  ///< 0..1: 0.5 just worth reporting
};

/// Finds bursts of spray-can hiss in the sound of a running engine.
/// Input    mono float at config.sample_rate_hz; any block length, 0 too; the answer does not depend on the blocks.
/// Output   bursts of 0.3 to 5 s in time order, each about 7.3 s after its end (or at `finish()`); a burst needs 0.4 s
/// of
///          sound without hiss on both sides.
/// Method   20 ms slots of log band levels. Every box of onset and duration is compared with the sound on either side,
///          in all bands above 2 kHz at once, in units of the spread which that same comparison shows in the last
///          half minute; a rise that the bands below 2 kHz share is taken off. The best boxes are then examined:
///          abrupt edges, a steady top without holes, no tones in it. hiss_finder.cpp has the derivation.
/// Accuracy tests/bench/bursts_bench.cpp prints found, extra and onset error by level, sampling rate and disturber.
/// Errors   constructor: std::invalid_argument for a rate out of range. process(): none; NaN and infinity count as 0.
/// Memory   constant but for the list of bursts. Threads: one owner.
class HissFinder {
   public:
    explicit HissFinder(const HissFinderConfig& config);
    ~HissFinder();
    HissFinder(HissFinder&&) noexcept;
    HissFinder& operator=(HissFinder&&) noexcept;

    void process(AudioView x);
    /// End of the recording: decides what still waited for the sound to come.
    void finish();
    void reset();
    /// Bursts decided so far, in time order.
    [[nodiscard]] const std::vector<HissBurst>& bursts() const noexcept;

   private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

/// The whole recording at once.
[[nodiscard]] std::vector<HissBurst> find_hiss(const HissFinderConfig& config, AudioView x);

}  // namespace idlehark
