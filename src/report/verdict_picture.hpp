#pragma once

#include "src/report/verdict_view.hpp"
#include "src/result.hpp"

#include <string>
#include <string_view>

namespace idlehark {

/// Draws the verdict: the speed over time with every burst marked, below it a row a spot, leaks first: number, name,
/// the change of speed with its 95 % interval against zero, the verdict as a shape and in words.
/// Output   PNG 1600 pixels wide, or SVG; chosen by the name's ending. Twice the same view, twice the same bytes.
/// Errors   another ending; a file that cannot be written.
Result<Done> draw_verdict(const VerdictView& view, const std::string& path);
/// The same as one SVG element for an HTML page; `prefix` as for inline_page().
[[nodiscard]] std::string verdict_svg(const VerdictView& view, std::string_view prefix);

}  // namespace idlehark
