#pragma once

#include "src/cli/manual/command_tree.hpp"

#include <string>

namespace idlehark::manual {

// What a shell offers at the tab key: commands where one may stand, options after a hyphen, the words an option allows,
// else names of files. Each is a whole file, to be put where the shell looks for it.
[[nodiscard]] std::string bash_completion(const CommandPage& root);
[[nodiscard]] std::string zsh_completion(const CommandPage& root);
[[nodiscard]] std::string fish_completion(const CommandPage& root);

}  // namespace idlehark::manual
