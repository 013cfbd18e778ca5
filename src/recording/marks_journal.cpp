#include "src/recording/marks_journal.hpp"

#include "src/files/csv.hpp"
#include "src/files/text_file.hpp"

#include <optional>

#include <fmt/format.h>

namespace idlehark {

namespace {
constexpr const char* kHeader = "time_s,spot\n";
constexpr std::size_t kLargestFile_bytes = 4U << 20U;
}  // namespace

Result<Done> MarksJournal::mark(double time_s, const std::string& spot) {
    if (!file_) {
        auto file = AppendFile::create(path_);
        if (!file) return file.error();
        file_ = std::make_unique<AppendFile>(std::move(file.value()));
    }
    auto text = fmt::format("{:.3f},{}\n", time_s, csv_field(spot));
    if (file_->empty()) text.insert(0, kHeader);  // an earlier mark may have failed, and the header with it
    return file_->append(text);
}

namespace {

std::optional<Mark> mark_in(const CsvRow& row) {
    if (row.fields.size() != 2) return {};
    const auto time_s = parse_number(row.fields[0]);
    if (!time_s || *time_s < 0.0 || row.fields[1].empty()) return {};
    return Mark{.time_s = *time_s, .spot = row.fields[1], .extra = {}, .line = row.line};
}

}  // namespace

JournalMarks read_journal(const std::string& path) {
    if (auto file = read_marks(path)) return {std::move(file.value().marks), ""};
    const auto text = read_text(path, kLargestFile_bytes);
    if (!text) return {{}, text.error().what};
    JournalMarks out;
    int lost = 0, first = 0;
    for (const auto& row : split_csv(text.value()).rows) {
        if (auto mark = mark_in(row))
            out.marks.push_back(std::move(*mark));
        else if (row.fields != std::vector<std::string>{"time_s", "spot"} && ++lost == 1)
            first = row.line;
    }
    if (lost == 1) out.unread = fmt::format("{}: line {} is not read as a mark", file_name(path), first);
    if (lost > 1)
        out.unread = fmt::format("{}: line {} and {} more are not read as marks", file_name(path), first, lost - 1);
    return out;
}

}  // namespace idlehark
