#include "gui/words.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>
#include <utility>
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

/// A sentence of the last section, taken apart.
struct Said {
    std::vector<std::string_view> english, german;
    std::size_t letters = 0;  ///< of the English outside its fields
};

std::vector<Said> said_section() {
    std::vector<Said> all;
    for (auto w = static_cast<std::size_t>(Word::said_practice); w < kTexts.size(); ++w) {
        Said s{pieces(kTexts[w].english), pieces(kTexts[w].german)};
        for (const auto piece : s.english) s.letters += piece.size();
        all.push_back(std::move(s));
    }
    // The pattern that says most comes first: "spot {}" must not take what a longer sentence is about.
    std::stable_sort(all.begin(), all.end(), [](const Said& a, const Said& b) { return a.letters > b.letters; });
    return all;
}

/// What stands in the fields if the sentence is of this pattern.
std::optional<std::vector<std::string_view>> fields_of(std::string_view sentence,
                                                       const std::vector<std::string_view>& texts) {
    if (!sentence.starts_with(texts.front()) || !sentence.ends_with(texts.back())) return {};
    sentence.remove_prefix(texts.front().size());
    std::vector<std::string_view> fields;
    for (std::size_t i = 1; i < texts.size(); ++i) {
        const bool last = i + 1 == texts.size();
        if (last && sentence.size() < texts[i].size()) return {};
        const auto at = last               ? sentence.size() - texts[i].size()
                        : texts[i].empty() ? std::string_view::npos
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
    static const auto all = said_section();
    for (const auto& pattern : all) {
        const auto fields = fields_of(sentence, pattern.english);
        if (!fields) continue;
        std::string said{pattern.german.front()};
        for (std::size_t i = 0; i < fields->size() && i + 1 < pattern.german.size(); ++i)
            said.append(known(std::string{(*fields)[i]})).append(pattern.german[i + 1]);
        return said;
    }
    return sentence;
}

}  // namespace idlehark::gui
