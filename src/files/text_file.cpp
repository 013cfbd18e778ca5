#include "src/files/text_file.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {
struct CloseFile {
    void operator()(std::FILE* f) const noexcept { std::fclose(f); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;
}  // namespace

Result<std::string> read_text(const std::string& path, std::size_t largest_bytes) {
    std::error_code code;
    if (std::filesystem::is_directory(path, code)) return Error{path + ": is a folder, not a file", ""};
    const File file{std::fopen(path.c_str(), "rb")};
    if (!file) return Error{fmt::format("{}: {}", path, std::strerror(errno)), "Check the name and the folder."};
    std::string text;
    // Piece by piece: the largest that is allowed may be much larger than most.
    for (std::size_t got = 1; got > 0 && text.size() <= largest_bytes;) {
        constexpr std::size_t kPiece_bytes = 1U << 16U;
        const auto had = text.size();
        text.resize(had + kPiece_bytes);
        got = std::fread(text.data() + had, 1, kPiece_bytes, file.get());
        text.resize(had + got);
    }
    if (std::ferror(file.get())) return Error{path + ": reading failed", ""};
    if (text.size() > largest_bytes)
        return Error{fmt::format("{}: is larger than {} kB, so it is not such a file", path, largest_bytes / 1024), ""};
    if (text.starts_with("\xff\xfe") || text.starts_with("\xfe\xff"))
        return Error{path + ": is saved as UTF-16", "Save it as plain text in UTF-8."};
    if (text.starts_with("\xef\xbb\xbf")) text.erase(0, 3);
    return text;
}

Result<Done> write_text(const std::string& path, std::string_view text) {
    const std::string beside = path + ".part";
    {
        // Made anew: what lies there under that name may be a link to somewhere else.
        std::remove(beside.c_str());
        const File file{std::fopen(beside.c_str(), "wbx")};
        if (!file) return Error{fmt::format("{}: cannot be written ({})", path, std::strerror(errno)), ""};
        if (std::fwrite(text.data(), 1, text.size(), file.get()) != text.size() || std::fflush(file.get()) != 0)
            return Error{fmt::format("{}: writing stopped early ({})", path, std::strerror(errno)), ""};
    }
    std::error_code code;
    std::filesystem::rename(beside, path, code);
    if (code) return Error{fmt::format("{}: cannot be written ({})", path, code.message()), ""};
    return Done{};
}

std::string file_name(const std::string& path) { return std::filesystem::path(path).filename().string(); }

}  // namespace idlehark
