#pragma once

#include "src/cli/command.hpp"

#include <string>
#include <vector>

namespace idlehark {

struct SprayOptions {
    SoundOptions sound;
    EngineOptions engine;
    std::string map;
    std::string marks;
    bool found = false;
    std::vector<std::string> order;
    double matters_rpm = 15.0;
    std::string format = "text";
    std::string plot;
};

/// The spray command; also the demo's main part.
int spray(const SprayOptions& options);

}  // namespace idlehark
