#pragma once

#include "dsp/units.hpp"

#include <cstddef>
#include <vector>

namespace idlehark {

/// Times of the sharp pulses in one channel, as a clamp round an ignition lead gives them.
/// Input    mono float, any block length; values that are not finite count as 0.
/// Output   pulse times in seconds: blocks of 0.5 ms whose peak is above half of the strong pulses' (the median of the
///          strongest, two a second), none within 15 ms of the one before. Fewer than 4, or peaks under six times the
///          channel's ordinary level: no pulses.
/// Accuracy 0.25 ms (1.2 crank degrees at 800 rpm).
/// Errors   constructor: std::invalid_argument for a rate outside 8000..192000 Hz.
class PulseFinder {
   public:
    explicit PulseFinder(double sample_rate_hz);
    void process(AudioView x);
    [[nodiscard]] std::vector<double> pulses_s() const;

   private:
    double rate_hz_;
    std::size_t block_;
    std::size_t filled_ = 0;
    float last_ = 0.0F, peak_ = 0.0F;
    std::vector<float> peaks_;  ///< largest step between neighbouring samples, per block
};

}  // namespace idlehark
