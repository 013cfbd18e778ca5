// The last section of words.def repeats what the program behind the window says. Here both are held together: a
// sentence that was reworded in src or dsp would stand on the German screen in English, and nobody would notice.
#include "gui/words.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>
#include <string>
#include <string_view>

#include <catch2/catch.hpp>

namespace gui = idlehark::gui;
namespace fs = std::filesystem;

namespace {

/// All that stands between quotes in the sources, neighbouring literals joined, fields of any format as {}.
std::string literals() {
    std::string all;
    for (const auto* folder : {"/src", "/dsp", "/gui"})
        for (const auto& entry : fs::recursive_directory_iterator{IDLEHARK_SOURCES + std::string{folder}}) {
            const auto ending = entry.path().extension();
            if (ending != ".cpp" && ending != ".hpp") continue;
            std::ifstream in{entry.path()};
            const std::string text{std::istreambuf_iterator<char>{in}, std::istreambuf_iterator<char>{}};
            bool inside = false, joined = false;
            for (std::size_t i = 0; i < text.size(); ++i) {
                const char c = text[i];
                if (inside && c == '\\' && i + 1 < text.size()) {
                    all += text[++i];
                } else if (c == '"') {
                    if (!inside && !joined) all += '\n';
                    inside = !inside;
                    joined = true;
                } else if (inside) {
                    all += c;
                } else if (c != ' ' && c != '\n') {
                    joined = false;
                }
            }
        }
    return all;
}

}  // namespace

TEST_CASE("Words: every sentence of the program behind the window is still said there", "[gui][words]") {
    // Put together from pieces of code, or said by the C library.
    const std::set<gui::Word> kPieced{gui::Word::said_end_one_open,  gui::Word::said_end_open,
                                      gui::Word::said_missing_place, gui::Word::said_missing_places,
                                      gui::Word::said_kind_of,       gui::Word::said_kind_guided,
                                      gui::Word::said_no_file,       gui::Word::said_not_allowed};
    const auto said = literals();
    REQUIRE(said.size() > 10'000);
    CHECK(said.find("this is said nowhere") == std::string::npos);
    for (int w = static_cast<int>(gui::Word::said_practice); w < static_cast<int>(gui::Word::count); ++w) {
        std::string_view pattern = gui::text(static_cast<gui::Word>(w), gui::Language::english);
        CAPTURE(pattern);
        std::size_t letters = 0;
        while (!pattern.empty()) {
            const auto open = std::min(pattern.find('{'), pattern.size());
            auto piece = pattern.substr(0, open);
            letters += piece.size();
            while (piece.starts_with(' ')) piece.remove_prefix(1);
            while (piece.ends_with(' ')) piece.remove_suffix(1);
            CAPTURE(piece);
            CHECK((said.find(piece) != std::string::npos || kPieced.contains(static_cast<gui::Word>(w))));
            pattern.remove_prefix(open);
            if (!pattern.empty()) pattern.remove_prefix(pattern.find('}') + 1);
        }
        CHECK(letters > 0);  // or a field would be its own sentence for ever
    }
}
