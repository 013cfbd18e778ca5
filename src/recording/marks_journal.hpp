#pragma once

#include "src/files/marks_file.hpp"
#include "src/recording/append_file.hpp"
#include "src/result.hpp"

#include <memory>
#include <string>
#include <vector>

namespace idlehark {

/// The marks of a recording in progress: a marks file that is on the disk, row by row, when `mark()` returns.
/// The file appears with the first mark.
class MarksJournal {
   public:
    explicit MarksJournal(std::string path) : path_(std::move(path)) {}
    Result<Done> mark(double time_s, const std::string& spot);

   private:
    std::string path_;
    std::unique_ptr<AppendFile> file_;
};

/// What a journal holds. `unread`: names the first of the lines that are no marks, or says why the file cannot be read
/// at all; empty if all was read.
struct JournalMarks {
    std::vector<Mark> marks;
    std::string unread;
};

/// Reads a journal, as any marks file; where that cannot be, as with a header that a full disk kept out or a line torn
/// by it, every row that is a mark by itself. A journal without a mark is no fault.
[[nodiscard]] JournalMarks read_journal(const std::string& path);

}  // namespace idlehark
