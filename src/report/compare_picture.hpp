#pragma once

#include "src/report/compare_view.hpp"
#include "src/result.hpp"

#include <string>
#include <string_view>

namespace idlehark {

/// A row a figure: before and after as numbers, the difference with its 95 % interval against zero (each row on a scale
/// of its own), the verdict as a shape and in words.
/// Output   PNG 1600 pixels wide, or SVG, by the name's ending. Errors: another ending; a file that cannot be written.
Result<Done> draw_compare(const CompareView& view, const std::string& path);
/// The same as one SVG element for an HTML page; `prefix` as for inline_page().
[[nodiscard]] std::string compare_svg(const CompareView& view, std::string_view prefix);

}  // namespace idlehark
