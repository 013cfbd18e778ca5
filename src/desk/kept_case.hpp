#pragma once

#include "gui/view_state.hpp"
#include "src/casebook/casebook.hpp"

#include <memory>
#include <string>
#include <vector>

namespace idlehark {

/// All that a case holds, as the window shows it: from its tables alone, no sound is touched. Errors as Casebook.
Result<std::shared_ptr<const gui::KeptCase>> kept_case(const Casebook& book);

/// The idle speed over time of a visit's spray test (else of its first idle); empty if none is kept.
Result<std::vector<gui::TracePoint>> kept_trace(const Casebook& book, RowId visit);

/// Cases inside a folder and the one opened last, the newest first.
[[nodiscard]] std::vector<gui::KnownCase> known_cases(const std::string& cases_folder, const std::string& last_folder);

}  // namespace idlehark
