#pragma once

#include "src/result.hpp"

#include <string>
#include <string_view>
#include <utility>

namespace idlehark {

/// A text file that only ever grows, line by line, and whose lines are on the disk when `append()` returns.
/// Errors   create(): the file exists already (nothing is ever overwritten) or cannot be made. append(): disk full...;
///          a line that could not be written whole is taken back, so that the file stays whole lines.
/// Threads  one owner.
class AppendFile {
   public:
    static Result<AppendFile> create(const std::string& path);
    ~AppendFile();
    AppendFile(AppendFile&& other) noexcept : path_(std::move(other.path_)), fd_(std::exchange(other.fd_, -1)) {}
    AppendFile& operator=(AppendFile&&) = delete;

    /// `text` with its line end.
    Result<Done> append(std::string_view text);
    [[nodiscard]] const std::string& path() const noexcept { return path_; }
    /// Is nothing in it yet: not even of a line that failed?
    [[nodiscard]] bool empty() const noexcept;

   private:
    AppendFile(std::string path, int fd) noexcept : path_(std::move(path)), fd_(fd) {}
    std::string path_;
    int fd_;
};

}  // namespace idlehark
