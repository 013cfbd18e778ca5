#include "tests/src/support.hpp"

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <stdexcept>

#include <sys/wait.h>

namespace idlehark::test {

ScratchFolder::ScratchFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "idlehark-test-XXXXXX").string();
    if (!mkdtemp(pattern.data())) throw std::runtime_error("no scratch folder");
    folder_ = pattern;
}

ScratchFolder::~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
}

std::string ScratchFolder::file(std::string_view name, std::string_view bytes) const {
    std::ofstream{path(name), std::ios::binary} << bytes;
    return path(name);
}

std::string slurp(const std::string& path) {
    std::ifstream in{path, std::ios::binary};
    return {std::istreambuf_iterator<char>{in}, {}};
}

std::string program_path() { return IDLEHARK_PROGRAM; }

std::string recordings_path(std::string_view name) { return IDLEHARK_RECORDINGS "/" + std::string{name}; }

Ran run_idlehark(const std::string& arguments) {
    const ScratchFolder folder;
    const auto out = folder.path("out");
    const auto err = folder.path("err");
    const std::string command = "'" + program_path() + "' >" + out + " 2>" + err + " </dev/null " + arguments;
    const int status = std::system(command.c_str());
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, slurp(out), slurp(err)};
}

}  // namespace idlehark::test
