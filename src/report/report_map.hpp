#pragma once

#include "src/report/case_report.hpp"

#include <string>
#include <string_view>

namespace idlehark {

/// The map's spots at their places, with numbers and the last verdict on each as a shape; one SVG element for an HTML
/// page. `prefix` as for inline_page().
[[nodiscard]] std::string map_svg(const CaseReport& report, std::string_view prefix);

}  // namespace idlehark
