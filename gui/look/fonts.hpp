#pragma once

#include <memory>
#include <string>

#include <SFML/Graphics/Font.hpp>

namespace idlehark::gui {

/// DejaVu Sans and its bold, from the system's font folder.
struct Fonts {
    sf::Font regular;
    sf::Font bold;

    /// Null if a file is missing or no font; then `message` says which, and what to install.
    [[nodiscard]] static std::unique_ptr<Fonts> load(std::string& message);
    /// Where the files are looked for: IDLEHARK_FONT_FOLDER of the build. For other libraries that load them too.
    [[nodiscard]] static std::string regular_file();
    [[nodiscard]] static std::string bold_file();
};

}  // namespace idlehark::gui
