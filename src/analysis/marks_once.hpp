#pragma once

#include "src/files/marks_file.hpp"

#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// The marks as they count: without those of a spot that was marked less than a second before, which are one burst
/// marked twice. What is odd about them is added to `said`; `file`: for the messages.
[[nodiscard]] std::vector<Mark> marks_once(std::span<const Mark> marks, const std::string& file,
                                           std::vector<std::string>& said);

}  // namespace idlehark
