#pragma once

#include <string>

namespace idlehark {

/// What `--version` prints: version; commit, if the build knew it; compiler, build type, libraries built with. No paths
/// and no times: two builds of one source say the same.
[[nodiscard]] std::string build_facts();

}  // namespace idlehark
