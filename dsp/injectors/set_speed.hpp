#pragma once

#include "dsp/engine.hpp"
#include "dsp/injectors/injector_set.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// Recordings whose speed, taken from faint clicks alone, is not the set's: a neighbour's or a valve's click in place
/// of every fifth gives six fifths of it.
struct OtherSpeeds {
    std::vector<std::size_t> which;  ///< of the set
    Engine engine;                   ///< with the idle range that the rest of the set leaves; examine these with it
};
[[nodiscard]] OtherSpeeds other_speeds(std::span<const ProbedInjector> set, const Engine& engine);

/// Whether the recording examined so holds clicks as well as before.
[[nodiscard]] bool as_clear(const ProbeRecording& again, const ProbeRecording& before);

}  // namespace idlehark
