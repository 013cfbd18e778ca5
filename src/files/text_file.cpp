#include "src/files/text_file.hpp"

#include "src/files/file_handle.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

namespace idlehark {

namespace fs = std::filesystem;

Result<std::string> read_text(const std::string& path, std::size_t largest_bytes) {
    std::error_code code;
    if (fs::is_directory(path, code)) return Error{path + ": is a folder, not a file", ""};
    const FileHandle file{std::fopen(path.c_str(), "rb")};
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

namespace {

/// Is all of it on the disk?
bool write_out(FileHandle file, std::string_view text) {
    if (std::fwrite(text.data(), 1, text.size(), file.get()) != text.size()) return false;
    if (std::fflush(file.get()) != 0) return false;
    // What is no file of a disk (EINVAL, EROFS) cannot be synced, and need not be.
    if (fsync(fileno(file.get())) != 0 && errno != EINVAL && errno != EROFS) return false;
    return std::fclose(file.release()) == 0;
}

}  // namespace

Result<Done> write_text(const std::string& path, std::string_view text) {
    // Under a name that nothing has: what lies there may be the user's own, or a link to somewhere else.
    std::string beside;
    FileHandle file;
    for (int n = 1; !file; ++n) {
        beside = fmt::format("{}.part{}", path, n == 1 ? "" : std::to_string(n));
        file.reset(std::fopen(beside.c_str(), "wbx"));
        if (!file && errno != EEXIST)
            return Error{fmt::format("{}: cannot be written ({})", path, std::strerror(errno)), ""};
    }
    if (!write_out(std::move(file), text)) {
        const int code = errno;
        std::remove(beside.c_str());
        return Error{fmt::format("{}: writing stopped early ({})", path, std::strerror(code)), ""};
    }
    std::error_code code;
    fs::rename(beside, path, code);
    if (code) {
        std::remove(beside.c_str());
        return Error{fmt::format("{}: cannot be written ({})", path, code.message()), ""};
    }
    sync_folder_of(path);
    return Done{};
}

Result<Done> write_where_asked(const std::string& path, std::string_view text) {
    std::error_code code;
    const auto target = fs::status(path, code);
    if (fs::is_directory(target)) return Error{path + ": is a folder, not a file", ""};
    const bool link = fs::is_symlink(fs::symlink_status(path, code));
    if (!link && (!fs::exists(target) || fs::is_regular_file(target))) return write_text(path, text);
    if (fs::is_regular_file(target))
        if (const auto file = fs::canonical(path, code); !code) return write_text(file.string(), text);
    // A device, a pipe, or a link to a file that is still to be made: there is no old file to leave whole.
    FileHandle file{std::fopen(path.c_str(), "wb")};
    if (!file || !write_out(std::move(file), text))
        return Error{fmt::format("{}: cannot be written ({})", path, std::strerror(errno)), ""};
    return Done{};
}

void sync_folder_of(const std::string& path) {
    auto folder = fs::path{path}.parent_path();
    if (folder.empty()) folder = ".";
    const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) return;
    fsync(fd);
    close(fd);
}

bool is_there(const std::string& path) {
    std::error_code code;
    return fs::exists(fs::symlink_status(path, code));
}

bool is_plain_file(const std::string& path) {
    std::error_code code;
    return fs::is_regular_file(fs::symlink_status(path, code));
}

std::string file_name(const std::string& path) { return fs::path(path).filename().string(); }

}  // namespace idlehark
