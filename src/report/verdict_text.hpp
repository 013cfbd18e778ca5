#pragma once

#include "src/report/verdict_view.hpp"

#include <string>

namespace idlehark {

/// The verdict as a table for people, leaks first.
[[nodiscard]] std::string verdict_table(const VerdictView& view);

/// The verdict as JSON for programs, spots in the map's order; null where there is no number.
[[nodiscard]] std::string verdict_json(const VerdictView& view);

}  // namespace idlehark
