#pragma once

#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook.hpp"
#include "src/result.hpp"

#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// One line of a list of cases.
struct CaseSummary {
    std::string folder;
    std::string name, engine;
    std::size_t visits = 0;
    std::string last_date, last_title, finding;
    std::string fault;  ///< why it cannot be read; the rest is empty then
};

/// The cases directly inside a folder, by name; from their tables alone, no audio is touched.
Result<std::vector<CaseSummary>> list_cases(const std::string& folder);
[[nodiscard]] std::string cases_table(const std::vector<CaseSummary>& cases);
[[nodiscard]] Json cases_json(const std::vector<CaseSummary>& cases);

/// What a result found, in a line: "2 leaks: 8, 11", "Cylinder 3 is weak", or why there is no answer.
[[nodiscard]] std::string finding_of(const CaseResult& result);

/// A case in words, all of it or one visit.
Result<std::string> case_table(const Casebook& book, std::optional<RowId> visit);
/// All that a case holds, but speed traces and devices;
/// {"car","engine","map","log","visits":[{"recordings":[{"marks"}], "results", "gate"...}],"notes","pictures"}.
Result<Json> case_json(const Casebook& book, std::optional<RowId> visit);

}  // namespace idlehark
