#pragma once

#include "src/report/injector_view.hpp"
#include "src/result.hpp"

#include <string>

namespace idlehark {

/// Draws a row an injector: the clicks folded over one cycle (where the others are heard), the own pair magnified with
/// opening and closing marked, the figures, the verdict as a shape and in words.
/// Output, errors: as write_page().
Result<Done> draw_injectors(const InjectorView& view, const std::string& path);

}  // namespace idlehark
