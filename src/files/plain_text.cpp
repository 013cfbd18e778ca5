#include "src/files/plain_text.hpp"

#include <cstddef>
#include <cstdint>

namespace idlehark {

namespace {

constexpr std::string_view kReplacement = "\xef\xbf\xbd";

/// Length of the UTF-8 sequence at the start (RFC 3629: no overlong forms, no surrogates, up to U+10FFFF); 0 if none.
std::size_t sequence(std::string_view text) {
    const auto at = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U; };
    const auto tail = [&](std::size_t i) { return (at(i) & 0xc0U) == 0x80U; };
    const unsigned first = at(0);
    if (first < 0x80U) return 1;
    if (first >= 0xc2U && first < 0xe0U) return tail(1) ? 2 : 0;
    if (first >= 0xe0U && first < 0xf0U) {
        if (!tail(1) || !tail(2)) return 0;
        if ((first == 0xe0U && at(1) < 0xa0U) || (first == 0xedU && at(1) >= 0xa0U)) return 0;
        return 3;
    }
    if (first >= 0xf0U && first < 0xf5U) {
        if (!tail(1) || !tail(2) || !tail(3)) return 0;
        if ((first == 0xf0U && at(1) < 0x90U) || (first == 0xf4U && at(1) >= 0x90U)) return 0;
        return 4;
    }
    return 0;
}

}  // namespace

std::string printable(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        const auto length = sequence(text);
        const auto c = static_cast<unsigned char>(text[0]);
        if (length == 0) {
            out += kReplacement;
            text.remove_prefix(1);
            continue;
        }
        const bool control = length == 1 && ((c < 0x20 && c != '\n' && c != '\t') || c == 0x7f);
        const bool high_control = length == 2 && c == 0xc2 && static_cast<unsigned char>(text[1]) < 0xa0;
        // Marks that turn the direction of writing can make a text read as another: U+202A-202E, U+2066-2069.
        const bool direction =
            length == 3 && ((text.substr(0, 2) == "\xe2\x80" && text[2] >= '\xaa' && text[2] <= '\xae') ||
                            (text.substr(0, 2) == "\xe2\x81" && text[2] >= '\xa6' && text[2] <= '\xa9'));
        if (!control && !high_control && !direction) out += text.substr(0, length);
        text.remove_prefix(length);
    }
    return out;
}

std::string trimmed(std::string_view text) {
    const auto from = text.find_first_not_of(" \t");
    if (from == std::string_view::npos) return {};
    return std::string{text.substr(from, text.find_last_not_of(" \t") - from + 1)};
}

}  // namespace idlehark
