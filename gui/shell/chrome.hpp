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
    float mouse_x, mouse_y;
};
void draw_chrome(Canvas& canvas, const ChromeLook& look);
/// A passing message, over the trace: what is to be done now, the page, the map and the lamps stay in sight.
void draw_message(Canvas& canvas, const Layout& layout, const std::string& words);

}  // namespace idlehark::gui
