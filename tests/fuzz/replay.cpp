// Stands in for libFuzzer where the compiler has none: runs the target on each file named, and on those in each folder.
#include "tests/fuzz/fuzz.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>

namespace fs = std::filesystem;

// NOLINTNEXTLINE(readability-identifier-naming)
extern "C" int LLVMFuzzerInitialize(int*, char***) __attribute__((weak));

int main(int argc, char** argv) {
    if (LLVMFuzzerInitialize) LLVMFuzzerInitialize(&argc, &argv);
    std::vector<fs::path> files;
    for (int i = 1; i < argc; ++i) {
        if (!fs::is_directory(argv[i])) {
            files.emplace_back(argv[i]);
            continue;
        }
        for (const auto& entry : fs::directory_iterator{argv[i]}) files.push_back(entry.path());
    }
    std::sort(files.begin(), files.end());
    for (const auto& file : files) {
        std::ifstream in{file, std::ios::binary};
        const std::vector<char> bytes{std::istreambuf_iterator<char>{in}, {}};
        if (!in.good() && !in.eof()) return 2;
        LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
        // Each beginning of it: files break off.
        for (std::size_t part = 1; part < 4; ++part)
            LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size() * part / 4);
    }
    std::fprintf(stderr, "%zu inputs, each whole and cut off\n", files.size());
    return files.empty() ? 1 : 0;
}
