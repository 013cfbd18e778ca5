#include "src/cli/version.hpp"

namespace idlehark {

namespace {
// The build states these for this file alone, so that a new commit compiles nothing else.
constexpr const char* kCommit = IDLEHARK_COMMIT;
constexpr const char* kLibraries = IDLEHARK_LIBRARIES;
constexpr const char* kBuildType = IDLEHARK_BUILD_TYPE;
constexpr const char* kCompiler = IDLEHARK_COMPILER;
}  // namespace

std::string build_facts() {
    std::string text = "idlehark " IDLEHARK_VERSION "\n";
    if (*kCommit) text += std::string{"commit "} + kCommit + "\n";
    text += std::string{"built by "} + kCompiler + ", C++20, " + kBuildType + "\n";
    return text + "built with " + kLibraries;
}

}  // namespace idlehark
