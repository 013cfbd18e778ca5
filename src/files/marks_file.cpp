#include "src/files/marks_file.hpp"

#include "src/files/csv.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr std::size_t kLargestFile_bytes = 4U << 20U;
constexpr const char* kDecimalHint =
    "Write decimals with a point (12.5) and separate columns with commas: save the table as CSV in an English format.";

}  // namespace

Result<MarksFile> read_marks(const std::string& path) {
    const auto text = read_text(path, kLargestFile_bytes);
    if (!text) return text.error();
    const auto file = file_name(path);
    const auto table = split_csv(text.value());
    if (table.unclosed_line)
        return Error{fmt::format("{}: line {}: a quote is opened and never closed", file, *table.unclosed_line), ""};
    if (table.rows.empty())
        return Error{file + ": is empty", "It needs a header time_s,spot and one row for each burst of spray."};

    std::vector<std::string> header;
    for (const auto& name : table.rows.front().fields) header.push_back(trimmed(name));
    if (header.size() == 1 && header[0].find(';') != std::string::npos)
        return Error{file + ": line 1: the columns are separated by semicolons", kDecimalHint};
    const auto column = [&](const char* name) -> std::optional<std::size_t> {
        const auto it = std::find(header.begin(), header.end(), name);
        return it == header.end() ? std::nullopt : std::optional{static_cast<std::size_t>(it - header.begin())};
    };
    const auto time = column("time_s");
    const auto spot = column("spot");
    if (!time || !spot)
        return Error{fmt::format("{}: line 1: the header has no column {}", file, time ? "spot" : "time_s"),
                     "The first line must be: time_s,spot"};

    MarksFile result;
    for (std::size_t c = 0; c < header.size(); ++c)
        if (c != *time && c != *spot) result.extra_columns.push_back(header[c]);
    for (std::size_t r = 1; r < table.rows.size(); ++r) {
        const auto& row = table.rows[r];
        const auto wrong = [&](std::string_view what, const char* hint = "") {
            return Error{fmt::format("{}: line {}: {}", file, row.line, what), hint};
        };
        if (row.fields.size() != header.size())
            return wrong(fmt::format("{} fields, but the header has {}", row.fields.size(), header.size()),
                         row.fields.size() > header.size() ? kDecimalHint : "");
        const auto& time_text = row.fields[*time];
        const auto time_s = parse_number(time_text);
        if (!time_s)
            return wrong(fmt::format("time_s: \"{}\" is not a number", time_text),
                         time_text.find(',') != std::string::npos ? kDecimalHint : "");
        if (*time_s < 0.0) return wrong(fmt::format("time_s: {} is before the recording starts", time_text));
        Mark mark{.time_s = *time_s, .spot = trimmed(row.fields[*spot]), .extra = {}, .line = row.line};
        if (mark.spot.empty()) return wrong("spot: is empty");
        for (std::size_t c = 0; c < header.size(); ++c)
            if (c != *time && c != *spot) mark.extra.push_back(row.fields[c]);
        result.marks.push_back(std::move(mark));
    }
    if (result.marks.empty()) return Error{file + ": has a header but no mark", "One row for each burst of spray."};
    std::stable_sort(result.marks.begin(), result.marks.end(),
                     [](const Mark& a, const Mark& b) { return a.time_s < b.time_s; });
    return result;
}

Result<Done> write_marks(const std::string& path, const MarksFile& file) {
    std::string text = "time_s,spot";
    for (const auto& name : file.extra_columns) text += "," + csv_field(name);
    text += "\n";
    for (const auto& mark : file.marks) {
        text += fmt::format("{:.3f},{}", mark.time_s, csv_field(mark.spot));
        for (const auto& field : mark.extra) text += "," + csv_field(field);
        text += "\n";
    }
    return write_text(path, text);
}

}  // namespace idlehark
