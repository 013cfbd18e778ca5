#pragma once

#include "src/cli/window.hpp"

#include <functional>

namespace idlehark {

/// Reads the words of the command line and does nothing yet: what is handed out runs the one command asked for and
/// returns its exit code (messages.hpp). Help and complaints are printed at once.
[[nodiscard]] std::function<int()> read_command_line(int argc, const char* const* argv,
                                                     const WindowOpener& open_window);
/// Reads and runs.
int run_command_line(int argc, const char* const* argv, const WindowOpener& open_window);

}  // namespace idlehark
