#pragma once

#include "dsp/engine.hpp"
#include "src/files/json.hpp"
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
/// The same from the object itself; `file` names it in messages.
Result<EngineFile> engine_from_json(const Json& json, const std::string& file);

[[nodiscard]] Json engine_json(const Engine& engine);
Result<Done> write_engine(const std::string& path, const Engine& engine);

}  // namespace idlehark
