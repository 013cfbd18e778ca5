#pragma once

#include "src/analysis/hiss_check.hpp"
#include "src/result.hpp"

#include <string>

namespace idlehark {

/// A row a spot, ranked: level over the survey's floor as a bar with its 95 % interval, the part that follows the
/// firing as a thin bar under it, the verdict in words and as a shape.
/// Output   PNG 1600 pixels wide, or SVG, by the name's ending. Errors: another ending; a file that cannot be written.
Result<Done> draw_hiss(const HissView& view, const std::string& path);

}  // namespace idlehark
