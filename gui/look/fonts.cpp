#include "gui/look/fonts.hpp"

namespace idlehark::gui {

std::string Fonts::regular_file() { return std::string{IDLEHARK_FONT_FOLDER} + "/DejaVuSans.ttf"; }
std::string Fonts::bold_file() { return std::string{IDLEHARK_FONT_FOLDER} + "/DejaVuSans-Bold.ttf"; }

std::unique_ptr<Fonts> Fonts::load(std::string& message) {
    auto fonts = std::make_unique<Fonts>();
    for (const auto& [font, file] : {std::pair{&fonts->regular, regular_file()}, {&fonts->bold, bold_file()}})
        if (!font->loadFromFile(file)) {
            message = file + ": this font cannot be loaded. Install the package fonts-dejavu-core.";
            return nullptr;
        }
    return fonts;
}

}  // namespace idlehark::gui
