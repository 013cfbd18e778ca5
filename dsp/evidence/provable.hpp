#pragma once

#include "dsp/evidence/coloured_noise.hpp"
#include "dsp/evidence/response_bank.hpp"

#include <span>

namespace idlehark::evidence {

/// The change that a spot with `bursts` bursts out of `spots` spots proves with probability 0.8 against this unrest:
/// bursts that miss and uneven hands included, the answer taken as any of the bank.
[[nodiscard]] double provable_change(const ColouredNoise& noise, double step_s, std::span<const WeightedShape> shapes,
                                     int bursts, int spots, double familywise_error);

}  // namespace idlehark::evidence
