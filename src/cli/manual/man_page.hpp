#pragma once

#include "src/cli/manual/command_tree.hpp"

#include <string>

namespace idlehark::manual {

/// The manual page, section 1, in the man macros: cautions first, then every command with its options. Nothing of the
/// day or the machine gets into it.
[[nodiscard]] std::string man_page(const CommandPage& root, const std::string& version);

}  // namespace idlehark::manual
