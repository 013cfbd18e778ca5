#pragma once

struct ImFont;

namespace idlehark::gui {

/// Type of the forms, made anew at each scale.
struct Type {
    ImFont* text = nullptr;
    ImFont* strong = nullptr;  ///< bold, the same size
    ImFont* title = nullptr;
    ImFont* big = nullptr;  ///< what is read from afar
};

/// Loads the type into ImGui's atlas at this scale (1..3) and sets colours and sizes: dark on light, square-shouldered,
/// targets for gloved fingers. The caller renews the texture.
[[nodiscard]] Type dress(float scale);

}  // namespace idlehark::gui
