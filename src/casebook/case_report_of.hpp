#pragma once

#include "src/casebook/casebook.hpp"
#include "src/report/case_report.hpp"

namespace idlehark {

/// Everything of a case that a report shows, from its tables alone: no audio is touched. `compare` is left empty.
/// Figures that cannot be understood (made by a newer program, say) are left out and named in the visit's `failed`.
Result<CaseReport> report_of(const Casebook& book);

}  // namespace idlehark
