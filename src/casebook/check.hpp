#pragma once

#include "src/casebook/casebook.hpp"

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

namespace idlehark {

/// A stored figure that the audio does not give now.
struct FigureDifference {
    std::string name;    ///< "visit 1, result 3 (spray): spots[2].change_rpm"
    std::string stored;  ///< "absent" if only the other has it
    std::string now;
    std::string program;  ///< that made the stored one
};

struct CheckReport {
    std::vector<std::string> faults;  ///< damage: tables, files missing, changed or unknown to the case
    std::vector<FigureDifference> differences;
    std::vector<std::string> notes;  ///< nothing wrong, but worth knowing
    std::size_t recordings = 0, results = 0, figures = 0;
    [[nodiscard]] bool sound() const noexcept { return faults.empty() && differences.empty(); }
};

enum class CheckDepth {
    files,    ///< tables, and that every file is there and has its bytes
    figures,  ///< and every figure made again from the audio
};

/// Looks over the whole case and changes nothing. `progress` gets the steps done and their number.
Result<CheckReport> check_case(const Casebook& book, CheckDepth depth,
                               const std::function<void(std::size_t done, std::size_t total)>& progress);

/// Leaf by leaf: where `now` differs from `stored` at all. Counts the leaves compared in `figures`.
[[nodiscard]] std::vector<FigureDifference> differences_of(const Json& stored, const Json& now, std::size_t& figures);

[[nodiscard]] std::string check_table(const CheckReport& report);
[[nodiscard]] Json check_json(const CheckReport& report);

}  // namespace idlehark
