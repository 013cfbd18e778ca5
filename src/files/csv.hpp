#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

struct CsvRow {
    std::vector<std::string> fields;
    int line = 0;  ///< where the row begins, from 1
};

/// Splits CSV text into rows: commas, double quotes doubled inside quotes, LF, CRLF or CR. Blank lines are left out.
/// A quote that is never closed ends with the text; `unclosed_line` then says where it opened.
struct CsvTable {
    std::vector<CsvRow> rows;
    std::optional<int> unclosed_line;
};
[[nodiscard]] CsvTable split_csv(std::string_view text);

/// The field with quotes where it needs them.
[[nodiscard]] std::string csv_field(std::string_view text);

/// A decimal number with a point, the whole text, spaces around it allowed; whatever the locale.
[[nodiscard]] std::optional<double> parse_number(std::string_view text);

}  // namespace idlehark
