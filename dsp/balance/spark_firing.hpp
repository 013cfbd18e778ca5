#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace idlehark {

/// Which of the firings heard belongs to a spark, by where the microphone may have been.
struct SparkFiring {
    std::optional<std::size_t> at_engine;   ///< combustion is heard within some 70 degrees of the spark
    std::vector<std::size_t> at_tail_pipe;  ///< the exhaust valve opens 115 to 165 degrees after it (spark advance and
                                            ///< valve timing of idling port-injected engines: common practice, no
                                            ///< source), and up to 12 ms of pipe lie behind it
};

/// Input    after_deg   crank degrees from the spark to the start of each firing's sound, within one cycle of
///                      `cycle_deg`; starts may be found up to 40 degrees early
///          rpm         > 0
/// Output   indices into `after_deg`; none of either: the sound is neither's (the intake's, or no pulse of that lead).
[[nodiscard]] SparkFiring firing_of_spark(std::span<const double> after_deg, double cycle_deg, double rpm);

}  // namespace idlehark
