#pragma once

#include "gui/look/canvas.hpp"
#include "gui/shell/layout.hpp"
#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <string>

namespace idlehark::gui {

/// What is on the screen whatever page is looked at: next step, STOP, the way through, and the instruments.
struct ChromeLook {
    const ViewState& view;
    const Layout& layout;
    const Words& say;
    Stage looking_at;
    std::string sentence;
    std::string message;  ///< passing, in the place of the keys' help
    float mouse_x, mouse_y;
};
void draw_chrome(Canvas& canvas, const ChromeLook& look);

}  // namespace idlehark::gui
