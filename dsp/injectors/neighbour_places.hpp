#pragma once

#include "dsp/engine.hpp"
#include "dsp/injectors/injector_set.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// Which of a set's injectors are silent, from whose clicks every probe hears at whose place in the cycle: a silent
/// one's own place is empty, and so is its place in the others' recordings, while a weak one's is not.
/// Input    recordings of one sequential set; their levels in dB against the set's sound ones (NaN: no clicks).
/// Output   per recording: how much worse the places agree with "clicks" than with "silent"; above 0: silent, 0: they
///          tell nothing.
/// Method   every choice of silent ones among the faint is held against all the places heard (squared differences from
///          what the choice lets expect, capped: a valve may tick anywhere); the strongest click of a faint recording
///          may be anyone's.
[[nodiscard]] std::vector<double> silence_by_places(std::span<const ProbedInjector> set,
                                                    std::span<const double> levels_db, const Engine& engine);

/// As loud at every place as at the strongest: what is heard there comes with every firing and is the engine's.
[[nodiscard]] bool every_firing_alike(const ProbeRecording& recording);

}  // namespace idlehark
