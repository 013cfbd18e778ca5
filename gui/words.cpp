#include "gui/words.hpp"

#include <array>
#include <optional>
#include <string_view>
#include <vector>

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

/// The texts between a pattern's fields: one more than it has fields.
std::vector<std::string_view> pieces(std::string_view pattern) {
    std::vector<std::string_view> list;
    for (auto open = pattern.find('{'); open != std::string_view::npos; open = pattern.find('{')) {
        list.push_back(pattern.substr(0, open));
        pattern.remove_prefix(pattern.find('}', open) + 1);
    }
    list.push_back(pattern);
    return list;
}

/// What stands in the fields if the sentence is of this pattern.
std::optional<std::vector<std::string_view>> fields_of(std::string_view sentence, std::string_view pattern) {
    const auto texts = pieces(pattern);
    if (!sentence.starts_with(texts.front())) return {};
    sentence.remove_prefix(texts.front().size());
    std::vector<std::string_view> fields;
    for (std::size_t i = 1; i < texts.size(); ++i) {
        const bool last = i + 1 == texts.size();
        const auto at = last && sentence.ends_with(texts[i]) ? sentence.size() - texts[i].size()
                        : last || texts[i].empty()           ? std::string_view::npos
                                                             : sentence.find(texts[i]);
        if (at == std::string_view::npos) return {};
        fields.push_back(sentence.substr(0, at));
        sentence.remove_prefix(at + texts[i].size());
    }
    if (!sentence.empty()) return {};
    return fields;
}
}  // namespace

const char* text(Word word, Language language) noexcept {
    const auto& texts = kTexts[static_cast<std::size_t>(word)];
    return language == Language::german ? texts.german : texts.english;
}

std::string Words::known(const std::string& sentence) const {
    if (language == Language::english) return sentence;
    for (auto w = static_cast<std::size_t>(Word::said_practice); w < kTexts.size(); ++w) {
        const auto fields = fields_of(sentence, kTexts[w].english);
        if (!fields) continue;
        const auto texts = pieces(kTexts[w].german);
        std::string said{texts.front()};
        for (std::size_t i = 0; i < fields->size() && i + 1 < texts.size(); ++i)
            said.append((*fields)[i]).append(texts[i + 1]);
        return said;
    }
    return sentence;
}

}  // namespace idlehark::gui
