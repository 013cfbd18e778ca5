#pragma once

#include "src/analysis/compare_visits.hpp"
#include "src/casebook/casebook.hpp"
#include "src/report/case_report.hpp"

#include <optional>
#include <utility>

namespace idlehark {

/// The first and the last visit that have a recording of the whole engine; nothing if there are not two.
Result<std::optional<std::pair<RowId, RowId>>> visits_to_compare(const Casebook& book);

/// Of visits that the user named. Errors: one of them is not there; both are the same.
Result<Done> check_two_visits(const Casebook& book, RowId before, RowId after);

/// What there is to compare of two visits: of each the recording with most marks (else the longest), and its last
/// injector set, with the engine that the visit's results were made with. What the case has kept of their sound is in
/// it, so that neither is listened to again unless its marks, its engine or the case's layout are other ones by now.
/// Errors   a visit that is not there, has no recording of the whole engine, or one of a cold against a warm engine
///          (by the visits' own words) unless `anyway`.
Result<CompareRequest> compare_request(const Casebook& book, RowId before, RowId after, bool anyway);

/// By the visits' own words one engine was cold, the other warm.
[[nodiscard]] bool cold_against_warm(const Visit& before, const Visit& after) noexcept;

/// Listens to two visits (the first and the last with an idle unless named) and adds their comparison to the report, or
/// why there is none. Errors   the case cannot be read.
Result<Done> add_compare(const Casebook& book, std::optional<std::pair<RowId, RowId>> visits, const ListenSinks& sinks,
                         CaseReport& report);

}  // namespace idlehark
