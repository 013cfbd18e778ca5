// The command line: any words give an exit code. Commands that only read are run as well, in an empty folder, so that
// what they make of their values is tried too. Input: one word a line.
#include "src/cli/cli.hpp"
#include "tests/fuzz/fuzz.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <array>
#include <filesystem>
#include <vector>

using namespace idlehark;
using fuzz::must;

namespace {

namespace fs = std::filesystem;

/// These read what they are given, and write only where they are told to: here, as no word may lead out.
constexpr std::array<std::string_view, 7> kHarmless{"idle", "bursts",  "spray",  "injectors",
                                                    "hiss", "balance", "compare"};

void enter_empty_folder() {
    static const test::ScratchFolder kFolder;
    fs::current_path(kFolder.path("."));
    for (const auto& entry : fs::directory_iterator{"."}) fs::remove_all(entry.path());
}

bool may_run(const std::vector<std::string>& words) {
    return !words.empty() && std::find(kHarmless.begin(), kHarmless.end(), words.front()) != kHarmless.end() &&
           std::none_of(words.begin(), words.end(),
                        [](const std::string& w) { return w.find('/') != std::string::npos || w.find("..") == 0; });
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {  // NOLINT(readability-identifier-naming)
    fuzz::quiet();
    return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    std::vector<std::string> words;
    for (auto rest = fuzz::text_of(data, size); !rest.empty();) {
        const auto end = std::min(rest.find('\n'), rest.size());
        words.emplace_back(rest.substr(0, end).substr(0, rest.substr(0, end).find('\0')));
        rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    std::vector<const char*> argv{"idlehark"};
    for (const auto& word : words) argv.push_back(word.c_str());
    const auto command =
        read_command_line(static_cast<int>(argv.size()), argv.data(), [](const WindowRequest&) { return 0; });
    must(static_cast<bool>(command), "any words lead to something");
    if (!may_run(words)) return 0;
    enter_empty_folder();
    const int code = command();
    must(code >= 0 && code <= 2, "an exit code is 0, 1 or 2");
    return 0;
}
