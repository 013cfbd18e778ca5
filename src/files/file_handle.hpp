#pragma once

#include <cstdio>
#include <memory>

namespace idlehark {

struct CloseFile {
    void operator()(std::FILE* f) const noexcept { std::fclose(f); }
};
/// A C file that closes itself. Whoever writes takes it out again (release) and closes it by hand: only then is an
/// error of the last bytes seen.
using FileHandle = std::unique_ptr<std::FILE, CloseFile>;

}  // namespace idlehark
