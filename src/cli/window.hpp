#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

namespace idlehark {

/// How the window is to open. Whoever links the window does it (main.cpp): the commands know nothing of it.
struct WindowRequest {
    std::optional<unsigned> width, height;
    std::optional<double> scale;  ///< 1..3
    std::string language;         ///< "en", "de"; empty: as last time
    std::string cases_folder;     ///< where new cases are made; empty: as usual_cases_folder() says
    std::optional<std::uint64_t> practice_seed;
    int practice_engine = 0;  ///< of the ten; 0: none
    double pace = 1.0;
    int spots = 8;
    std::string replay;
    std::string case_folder;  ///< opened at its last visit
    bool report_frames = false;
};

/// Runs until the window is closed; the exit code.
using WindowOpener = std::function<int(const WindowRequest&)>;

}  // namespace idlehark
