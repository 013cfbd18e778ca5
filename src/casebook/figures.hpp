#pragma once

#include "src/files/json.hpp"

#include <initializer_list>
#include <string>
#include <vector>

/// Stored figures read leniently: whatever another version, or a stranger, put there. What is missing or of another
/// sort is NaN, 0 or empty.
namespace idlehark::figures {

[[nodiscard]] double number(const Json& object, const char* key);
/// A count, 0..1,000,000.
[[nodiscard]] int whole(const Json& object, const char* key);
/// The channel that settings name, from 1; 1 if they name none.
[[nodiscard]] int channel(const Json& settings);
/// A whole number counts as its digits.
[[nodiscard]] std::string text(const Json& object, const char* key);
[[nodiscard]] std::vector<std::string> texts(const Json& object, const char* key);
/// The whole numbers of a list.
[[nodiscard]] std::vector<int> wholes(const Json& object, const char* key);
/// The objects of a list.
[[nodiscard]] std::vector<Json> rows(const Json& object, const char* key);

/// The verdict whose word it is; `otherwise` for a word of another program version.
template <class Verdict>
[[nodiscard]] Verdict said(const std::string& text, std::initializer_list<Verdict> all, Verdict otherwise) {
    for (const auto v : all)
        if (text == word(v)) return v;
    return otherwise;
}

}  // namespace idlehark::figures
