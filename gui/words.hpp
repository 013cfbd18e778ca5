#pragma once

#include <cstdint>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace idlehark::gui {

/// Every word of the window stands in words.def, with its name and one text a language.
enum class Word : std::uint16_t {
#define WORD(name, english, german) name,
#include "gui/words.def"
#undef WORD
    count
};

enum class Language { english, german };

[[nodiscard]] const char* text(Word word, Language language) noexcept;

/// The words in the language chosen last; `say(Word::x)` or, with fields, `say(Word::x, 7, "name")`.
class Words {
   public:
    [[nodiscard]] const char* operator()(Word word) const noexcept { return text(word, language); }
    template <class... Fields>
    [[nodiscard]] std::string operator()(Word word, Fields&&... fields) const {
        return fmt::format(fmt::runtime(text(word, language)), std::forward<Fields>(fields)...);
    }
    /// A sentence of the program behind the window, in the user's language if the last section of words.def has its
    /// pattern (the same is done to what stands in its fields), else as it is.
    [[nodiscard]] std::string known(const std::string& sentence) const;
    Language language = Language::english;
};

}  // namespace idlehark::gui
