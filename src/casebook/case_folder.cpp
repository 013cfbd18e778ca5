#include "src/casebook/case_folder.hpp"

#include "src/files/text_file.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <set>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;
constexpr std::size_t kLongestName_bytes = 80;
constexpr std::size_t kCopyBlock_bytes = 1U << 18U;

bool safe_byte(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' || c == '-' ||
           c == '_';
}

class File {
   public:
    File(const std::string& path, int flags) : fd_(::open(path.c_str(), flags | O_CLOEXEC, 0644)) {}
    ~File() {
        if (fd_ >= 0) ::close(fd_);
    }
    File(const File&) = delete;
    File& operator=(const File&) = delete;
    [[nodiscard]] int fd() const noexcept { return fd_; }

   private:
    int fd_;
};

Error cannot_write(const std::string& path, int code) {
    return {fmt::format("{}: cannot be written ({})", path, std::strerror(code)),
            code == ENOSPC ? "Make room and do it again; all that was stored before is kept." : ""};
}

}  // namespace

std::string safe_name(std::string_view text) {
    std::string name;
    for (const char c : text) {
        const char next = safe_byte(c) ? c : '-';
        if (next == '-' && name.ends_with('-')) continue;
        if (next == '.' && name.empty()) continue;
        name += next;
    }
    if (name.size() > kLongestName_bytes) {
        const auto dot = name.rfind('.');
        const auto ending = dot == std::string::npos || name.size() - dot > 8 ? std::string{} : name.substr(dot);
        name.replace(kLongestName_bytes - ending.size(), std::string::npos, ending);
    }
    return name.empty() ? "file" : name;
}

bool is_safe_name(std::string_view name) {
    return !name.empty() && name.size() <= 255 && name.front() != '.' &&
           std::all_of(name.begin(), name.end(), safe_byte);
}

CaseFolder::CaseFolder(const std::string& path) {
    std::error_code code;
    const auto canonical = fs::canonical(path, code);
    path_ = code ? fs::path{path}.lexically_normal().string() : canonical.string();
    while (path_.size() > 1 && path_.ends_with('/')) path_.pop_back();
}

bool CaseFolder::writable() const { return access(path_.c_str(), W_OK) == 0; }

Result<std::string> CaseFolder::folder_of(std::string_view part) const {
    if (part.empty()) return path_;
    auto folder = fmt::format("{}/{}", path_, part);
    struct stat info {};
    if (lstat(folder.c_str(), &info) == 0 && !S_ISDIR(info.st_mode))
        return Error{folder + ": is not a folder of this case's own",
                     "Links inside a case are not followed; put the files themselves there."};
    return folder;
}

Result<std::string> CaseFolder::existing(std::string_view part, const std::string& name) const {
    if (!is_safe_name(name)) return Error{fmt::format("\"{}\" is not a file name that a case can hold", name), ""};
    const auto folder = folder_of(part);
    if (!folder) return folder.error();
    auto path = fmt::format("{}/{}", folder.value(), name);
    struct stat info {};
    if (lstat(path.c_str(), &info) != 0)
        return Error{fmt::format("{}: {}", path, std::strerror(errno)), "The file was moved or deleted; put it back."};
    if (!S_ISREG(info.st_mode))
        return Error{path + ": is not an ordinary file", "Links inside a case are not followed; put the file there."};
    return path;
}

Result<std::string> CaseFolder::fresh(std::string_view part, const std::string& wish,
                                      const std::vector<std::string>& held) const {
    const auto folder = folder_of(part);
    if (!folder) return folder.error();
    if (mkdir(folder.value().c_str(), 0755) != 0 && errno != EEXIST) return cannot_write(folder.value(), errno);
    const fs::path name{safe_name(wish)};
    std::set<std::string> stems;
    const auto take = [&stems](const std::string& taken) { stems.insert(taken.substr(0, taken.find('.'))); };
    std::for_each(held.begin(), held.end(), take);
    std::error_code code;
    for (fs::directory_iterator at{folder.value(), code}, end; !code && at != end; at.increment(code))
        take(at->path().filename().string());
    for (int n = 1; n < 100'000; ++n) {
        const auto all = name.string();
        const auto stem = all.substr(0, all.find('.')) + (n == 1 ? "" : fmt::format("-{}", n));
        if (!stems.contains(stem))
            return fmt::format("{}/{}{}", folder.value(), stem,
                               all.find('.') == std::string::npos ? "" : all.substr(all.find('.')));
    }
    return Error{fmt::format("{}/{}: no free name is left", folder.value(), name.string()), ""};
}

std::vector<std::string> CaseFolder::files(std::string_view part) const {
    std::vector<std::string> names;
    const auto folder = folder_of(part);
    if (!folder) return names;
    std::error_code code;
    for (fs::directory_iterator at{folder.value(), code}, end; !code && at != end; at.increment(code)) {
        std::error_code kind_code;
        const auto name = at->path().filename().string();
        if (at->symlink_status(kind_code).type() == fs::file_type::regular && is_safe_name(name)) names.push_back(name);
    }
    std::sort(names.begin(), names.end());
    return names;
}

Result<Done> name_safely(const std::string& temporary, const std::string& to) {
    // A hard link never overwrites; where the file system has none, a rename after a look must do.
    if (link(temporary.c_str(), to.c_str()) == 0) {
        unlink(temporary.c_str());
    } else if (errno == EEXIST || access(to.c_str(), F_OK) == 0) {
        unlink(temporary.c_str());
        return Error{to + ": exists already", ""};
    } else if (rename(temporary.c_str(), to.c_str()) != 0) {
        const int code = errno;
        unlink(temporary.c_str());
        return cannot_write(to, code);
    }
    sync_folder_of(to);
    return Done{};
}

namespace {

/// Writes what `next` hands out until it hands out nothing.
template <class Next>
Result<Done> write_new(const std::string& to, Next next) {
    const auto beside = to + ".part";
    unlink(beside.c_str());
    const auto fail = [&beside](Error error) {
        unlink(beside.c_str());
        return error;
    };
    const File out{beside, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW};
    if (out.fd() < 0) return cannot_write(to, errno);
    for (;;) {
        const Result<std::string_view> block = next();
        if (!block) return fail(block.error());
        if (block.value().empty()) break;
        for (auto rest = block.value(); !rest.empty();) {
            const auto wrote = write(out.fd(), rest.data(), rest.size());
            if (wrote < 0 && errno == EINTR) continue;
            if (wrote <= 0) return fail(cannot_write(to, wrote < 0 ? errno : ENOSPC));
            rest.remove_prefix(static_cast<std::size_t>(wrote));
        }
    }
    if (fsync(out.fd()) != 0) return fail(cannot_write(to, errno));
    return name_safely(beside, to);
}

}  // namespace

Result<Done> write_safely(const std::string& to, std::string_view bytes) {
    return write_new(to, [&bytes]() -> Result<std::string_view> { return std::exchange(bytes, {}); });
}

Result<Done> copy_file_safely(const std::string& from, const std::string& to) {
    const File in{from, O_RDONLY};
    if (in.fd() < 0) return Error{fmt::format("{}: {}", from, std::strerror(errno)), "Check the name and the folder."};
    std::vector<char> block(kCopyBlock_bytes);
    return write_new(to, [&]() -> Result<std::string_view> {
        ssize_t got = -1;
        do got = read(in.fd(), block.data(), block.size());
        while (got < 0 && errno == EINTR);
        if (got < 0) return Error{fmt::format("{}: reading failed ({})", from, std::strerror(errno)), ""};
        return std::string_view{block.data(), static_cast<std::size_t>(got)};
    });
}

}  // namespace idlehark
