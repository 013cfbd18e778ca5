#include "src/recording/append_file.hpp"

#include "src/files/text_file.hpp"

#include <cerrno>
#include <cstring>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace idlehark {

Result<AppendFile> AppendFile::create(const std::string& path) {
    const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0644);
    if (fd < 0) {
        if (errno == EEXIST) return Error{path + ": exists already", "Nothing is overwritten; choose another name."};
        return Error{fmt::format("{}: cannot be written ({})", path, std::strerror(errno)), ""};
    }
    sync_folder_of(path);
    return AppendFile{path, fd};
}

AppendFile::~AppendFile() {
    if (fd_ >= 0) close(fd_);
}

Result<Done> AppendFile::append(std::string_view text) {
    struct stat before {};
    const bool known = fstat(fd_, &before) == 0;
    std::size_t written = 0;
    while (written < text.size()) {
        const auto n = ::write(fd_, text.data() + written, text.size() - written);
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) {
            const int code = n < 0 ? errno : ENOSPC;
            if (known && written > 0 && ftruncate(fd_, before.st_size) != 0) {
                // The torn line stays; the reader of the file names its line number.
            }
            return Error{fmt::format("{}: writing failed ({})", path_, std::strerror(code)), "Is the disk full?"};
        }
        written += static_cast<std::size_t>(n);
    }
    if (fdatasync(fd_) != 0 && errno != EINVAL && errno != EROFS)
        return Error{fmt::format("{}: is not safe on the disk ({})", path_, std::strerror(errno)), ""};
    return Done{};
}

bool AppendFile::empty() const noexcept {
    struct stat now {};
    return fstat(fd_, &now) == 0 && now.st_size == 0;
}

}  // namespace idlehark
