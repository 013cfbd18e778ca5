#pragma once

#include "gui/look/canvas.hpp"
#include "gui/map/map_scene.hpp"

namespace idlehark::gui {

/// Draws the bay as laid out: the picture or the schematic, then every spot's plate, label, whisker and bursts, the
/// next spot on top. Decides nothing.
void draw_map(Canvas& canvas, const MapScene& scene, const MapLayout& layout, const MapCamera& camera);

/// Words of a size as this canvas draws them, for lay_out().
[[nodiscard]] TextMeasure measure_with(const Canvas& canvas);

}  // namespace idlehark::gui
