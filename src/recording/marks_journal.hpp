#pragma once

#include "src/recording/append_file.hpp"
#include "src/result.hpp"

#include <memory>
#include <string>

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

}  // namespace idlehark
