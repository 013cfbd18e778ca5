#pragma once

#include "src/cli/command.hpp"
#include "src/cli/window.hpp"

namespace idlehark {

/// As the other commands, but told how to open the window: the commands do not link it.
void add_window(CLI::App& app, Command& chosen, const WindowOpener& open_window);

}  // namespace idlehark
