#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace idlehark::test {

/// A folder of its own that goes away with the test.
class ScratchFolder {
   public:
    ScratchFolder();
    ~ScratchFolder();
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;

    [[nodiscard]] std::string path(std::string_view name) const { return (folder_ / name).string(); }
    /// Writes the bytes; returns the path.
    [[nodiscard]] std::string file(std::string_view name, std::string_view bytes) const;

   private:
    std::filesystem::path folder_;
};

struct Ran {
    int code = -1;  ///< exit code; -1 if a signal ended it
    std::string out;
    std::string err;
};

/// The built program, and the folder `recordings` of the source tree.
std::string program_path();
std::string recordings_path(std::string_view name);

/// Runs the built program with the arguments given as one shell text.
Ran run_idlehark(const std::string& arguments);

std::string slurp(const std::string& path);

}  // namespace idlehark::test
