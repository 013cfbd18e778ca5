#include "src/report/compare_view.hpp"

#include "src/files/json_text.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

std::string name_of(const CompareRow& r) { return r.name.empty() ? r.figure : r.figure + ", " + r.name; }

/// Display width in columns: what is not the first byte of a character takes none.
std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(
        std::count_if(text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}

std::string padded(std::string text, std::size_t width) {
    const auto have = columns(text);
    if (have < width) text.append(width - have, ' ');
    return text;
}

}  // namespace

std::string figure_text(double value, std::string_view unit, bool with_sign) {
    if (!std::isfinite(value)) return {};
    const int decimals = unit == "ms" ? 2 : unit == "µs" ? 0 : 1;
    const auto text = with_sign ? fmt::format("{:+.{}f}", value, decimals) : fmt::format("{:.{}f}", value, decimals);
    const bool zero = text.find_first_of("123456789") == std::string::npos;
    return zero && (text[0] == '+' || text[0] == '-') ? text.substr(1) : text;
}

std::string headline(const CompareView& view) {
    std::string text;
    std::size_t open = 0;
    for (const auto verdict : {ChangeVerdict::better, ChangeVerdict::worse, ChangeVerdict::changed}) {
        std::vector<std::string> names;
        for (const auto& r : view.rows)
            if (r.change.verdict == verdict) names.push_back(r.figure);
        if (names.empty()) continue;
        const auto label = word(verdict);
        text += fmt::format("{}{}{}: {}.", text.empty() ? "" : " ", static_cast<char>(label[0] - 'a' + 'A'),
                            label.substr(1), fmt::join(names, ", "));
    }
    for (const auto& r : view.rows) open += r.change.verdict == ChangeVerdict::no_proven ? 1 : 0;
    if (text.empty()) return open == 0 ? "Nothing could be compared." : "No proven change.";
    if (open > 0) text += fmt::format(" No proven change in {} other{}.", open, open == 1 ? "" : "s");
    return text;
}

std::string compare_table(const CompareView& view) {
    std::string text = headline(view) + "\n\n";
    text += "before   " + view.before + "\nafter    " + view.after + "\n\n";
    std::size_t width = 6;
    for (const auto& r : view.rows) width = std::max(width, columns(name_of(r)));
    text += fmt::format("{:<{}}  {:>8}  {:>8}  {:>10}  {:<18}  {:>7}  {:<5} verdict\n", "figure", width, "before",
                        "after", "difference", "95 % interval", "p", "unit");
    for (const auto& r : view.rows) {
        const auto& c = r.change;
        const auto interval = std::isfinite(c.low) ? fmt::format("{} to {}", figure_text(c.low, r.unit, true),
                                                                 figure_text(c.high, r.unit, true))
                                                   : std::string{};
        const auto p = std::isnan(c.p_value) ? std::string{}
                       : c.p_value < 0.001   ? std::string{"< 0.001"}
                                             : fmt::format("{:.3f}", c.p_value);
        text += fmt::format("{}  {:>8}  {:>8}  {:>10}  {:<18}  {:>7}  {:<5} {}\n", padded(name_of(r), width),
                            figure_text(r.before, r.unit), figure_text(r.after, r.unit),
                            figure_text(c.difference, r.unit, true), interval, p, r.unit, word(c.verdict));
    }
    if (!view.cautions.empty() || !view.notes.empty()) text += "\n";
    for (const auto& c : view.cautions) text += "caution: " + c + "\n";
    for (const auto& n : view.notes) text += "note: " + n + "\n";
    return text;
}

std::string compare_json(const CompareView& view) {
    Json json{{"summary", headline(view)}, {"before", view.before}, {"after", view.after}, {"figures", Json::array()}};
    for (const auto& r : view.rows)
        json["figures"].push_back({{"figure", r.figure},
                                   {"name", r.name},
                                   {"unit", r.unit},
                                   {"before", json_number(r.before, 4)},
                                   {"after", json_number(r.after, 4)},
                                   {"difference", json_number(r.change.difference, 4)},
                                   {"low", json_number(r.change.low, 4)},
                                   {"high", json_number(r.change.high, 4)},
                                   {"p_value", json_number(r.change.p_value, 4)},
                                   {"verdict", word(r.change.verdict)}});
    json["cautions"] = view.cautions;
    json["notes"] = view.notes;
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
