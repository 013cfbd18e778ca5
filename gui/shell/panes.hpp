#pragma once

#include "gui/look/canvas.hpp"
#include "gui/shell/layout.hpp"
#include "gui/view_state.hpp"
#include "gui/words.hpp"

namespace idlehark::gui {

/// The speed over the last minute with its bursts.
void draw_trace(Canvas& canvas, const ViewState& view, const Rect& place, const Words& say);

}  // namespace idlehark::gui
