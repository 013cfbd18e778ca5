#pragma once

#include "gui/look/canvas.hpp"

namespace idlehark::gui {

/// A value with its interval against zero.
struct Whisker {
    double value = 0.0;
    double low = 0.0;
    double high = 0.0;
    double span = 30.0;    ///< the axis goes from −span to span; what lies beyond ends in an arrow head
    double matters = 0.0;  ///< the change that matters, marked on both sides of zero; 0: none
    Finding finding = Finding::open;
};

/// The interval as a bar, its value as a bead, zero as a full line, the change that matters as dotted lines.
void draw_whisker(Canvas& canvas, const Box& on, const Whisker& w);

}  // namespace idlehark::gui
