#pragma once

#include "dsp/bay_map.hpp"
#include "dsp/engine.hpp"
#include "gui/look/geometry.hpp"

#include <optional>
#include <string>
#include <vector>

namespace idlehark::gui {

enum class PartKind { head, cover, flange, runner, plenum, throttle, duct, rail, injector, hose, servo };

/// A thing to draw, millimetres, seen from above. A body is a closed convex outline; a pipe is a line with a width.
struct Part {
    PartKind kind = PartKind::head;
    std::vector<Point> outline;
    double pipe_mm = 0.0;  ///< width of a pipe; 0: a body
    std::string name;      ///< trade word, written on or beside it; empty: none
    int cylinder = 0;      ///< 0: none
};

/// An engine's intake as a drawing, with spots where such joints usually are.
struct Schematic {
    Box bounds_mm;            ///< holds every part and every spot
    std::vector<Part> parts;  ///< from the lowest to the topmost
    std::vector<MapSpot> spots;
};

/// Draws the intake of any engine of 1 to 12 cylinders, in line or in two banks (cylinder_banks()).
/// In line, from top to bottom: valve cover, head, injectors with their rail, one gasket a cylinder, runners, plenum;
/// the throttle is at the plenum's left end. Two banks: the same twice, mirrored, with the plenum between. Cylinders
/// are 90 mm apart, the gaskets of the first bank lie at y = 180 mm and its injector seals at 135 mm. Spots  numbered
/// from "1": runner gaskets in cylinder order, injector seals likewise, then throttle, plenum and hoses.
///        Where joints are is common practice, no source: the user moves them to where they are on this engine.
[[nodiscard]] Schematic draw_schematic(const Engine& engine);

/// The drawing for a map: moved, stretched along x and y, and mirrored if need be, so that its gaskets and seals lie
/// where the map has its own, for maps that were measured from another corner. Where the engine does not state its
/// banks, the rows that suit the map best are drawn. As draw_schematic() where fewer than two spots can be compared or
/// none of the ways fits within `kFit_mm`.
[[nodiscard]] Schematic schematic_for(const Engine& engine, const BayMap& map);
inline constexpr double kFit_mm = 40.0;

/// Where a cylinder's injector, or its runner, lies: at the map's own spot for it if there is one, else (with no photo)
/// in the drawing. Nothing if neither tells.
[[nodiscard]] std::optional<Point> cylinder_place(const Schematic& drawing, const BayMap& map, bool injector,
                                                  int cylinder);

}  // namespace idlehark::gui
