#pragma once

#include "gui/words.hpp"

#include <optional>
#include <string>

namespace idlehark::gui {

/// Where and how the window stood when it was closed.
struct WindowMemory {
    int x = 0, y = 0;
    unsigned w = 1280, h = 800;
    float scale = 0.0F;  ///< 0: by the size of the screen
    Language language = Language::english;
    friend bool operator==(const WindowMemory&, const WindowMemory&) = default;
};

/// Nothing if the text is not one that `to_text` wrote, or has values no screen has.
[[nodiscard]] std::optional<WindowMemory> memory_from_text(const std::string& text);
[[nodiscard]] std::string to_text(const WindowMemory& memory);

/// A scale for a screen nobody has chosen one for: 1 at 800 px of height, 2.4 at 2160.
[[nodiscard]] float scale_for_height(float height_px) noexcept;

}  // namespace idlehark::gui
