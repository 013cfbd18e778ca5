#pragma once

#include "src/cli/command.hpp"

namespace idlehark {

/// The hidden command `manual`: prints manual page or completions of `app` as it stands when it runs.
void add_manual(CLI::App& app, Command& chosen);

}  // namespace idlehark
