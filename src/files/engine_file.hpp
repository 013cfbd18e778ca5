#pragma once

#include "dsp/engine.hpp"
#include "src/result.hpp"

#include <string>
#include <vector>

namespace idlehark {

struct EngineFile {
    Engine engine;
    std::vector<std::string> warnings;  ///< unknown keys
};

/// Reads an engine file (JSON). `cylinders` and `idle_rpm` must be there; the other keys have defaults:
/// name "", strokes 4, firing_order 1,2,3,..., firing_angles_deg even, injection sequential, groups none,
/// banks not stated, idle_control fixed. Errors name file, key, value and allowed range.
Result<EngineFile> read_engine(const std::string& path);

Result<Done> write_engine(const std::string& path, const Engine& engine);

}  // namespace idlehark
