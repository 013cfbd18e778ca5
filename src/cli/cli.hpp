#pragma once

#include "src/cli/window.hpp"

namespace idlehark {

/// The whole command line: parses, runs the one command asked for, returns the exit code of messages.hpp.
int run_command_line(int argc, const char* const* argv, const WindowOpener& open_window);

}  // namespace idlehark
