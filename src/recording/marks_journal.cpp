#include "src/recording/marks_journal.hpp"

#include "src/files/csv.hpp"

#include <fmt/format.h>

namespace idlehark {

Result<Done> MarksJournal::mark(double time_s, const std::string& spot) {
    std::string text = fmt::format("{:.3f},{}\n", time_s, csv_field(spot));
    if (!file_) {
        auto file = AppendFile::create(path_);
        if (!file) return file.error();
        file_ = std::make_unique<AppendFile>(std::move(file.value()));
        text.insert(0, "time_s,spot\n");
    }
    return file_->append(text);
}

}  // namespace idlehark
