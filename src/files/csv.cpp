#include "src/files/csv.hpp"

#include <charconv>
#include <cmath>

namespace idlehark {

CsvTable split_csv(std::string_view text) {
    CsvTable table;
    CsvRow row{.fields = {""}, .line = 1};
    int line = 1;
    bool quoted = false;
    int quote_line = 0;
    const auto end_row = [&] {
        if (row.fields.size() > 1 || !row.fields.front().empty()) table.rows.push_back(row);
        row = {.fields = {""}, .line = line};
    };
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        const bool line_end = c == '\n' || (c == '\r' && !(i + 1 < text.size() && text[i + 1] == '\n'));
        if (line_end) ++line;
        auto& field = row.fields.back();
        if (quoted) {
            if (c != '"')
                field += c;
            else if (i + 1 < text.size() && text[i + 1] == '"')
                field += text[++i];
            else
                quoted = false;
        } else if (c == '"' && field.empty()) {
            quoted = true;
            quote_line = line;
        } else if (c == ',') {
            row.fields.emplace_back();
        } else if (line_end) {
            end_row();
        } else if (c != '\r') {
            field += c;
        }
    }
    end_row();
    if (quoted) table.unclosed_line = quote_line;
    return table;
}

std::string csv_field(std::string_view text) {
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string{text};
    std::string quoted = "\"";
    for (const char c : text) quoted.append(c == '"' ? 2 : 1, c);
    return quoted + "\"";
}

std::optional<double> parse_number(std::string_view text) {
    const auto from = text.find_first_not_of(" \t");
    if (from == std::string_view::npos) return {};
    text = text.substr(from, text.find_last_not_of(" \t") - from + 1);
    if (text.starts_with('+')) text.remove_prefix(1);
    double x = 0.0;
    const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), x);
    if (code != std::errc{} || end != text.data() + text.size() || !std::isfinite(x)) return {};
    return x;
}

}  // namespace idlehark
