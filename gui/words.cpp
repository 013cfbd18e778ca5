#include "gui/words.hpp"

#include <array>

namespace idlehark::gui {

namespace {
struct Texts {
    const char* english;
    const char* german;
};
constexpr std::array<Texts, static_cast<std::size_t>(Word::count)> kTexts{{
#define WORD(name, english, german) {english, german},
#include "gui/words.def"
#undef WORD
}};
}  // namespace

const char* text(Word word, Language language) noexcept {
    const auto& texts = kTexts[static_cast<std::size_t>(word)];
    return language == Language::german ? texts.german : texts.english;
}

}  // namespace idlehark::gui
