#pragma once

#include "dsp/bursts/hiss_finder.hpp"

#include <optional>
#include <span>
#include <vector>

namespace idlehark {

/// Marks made by hand are off by 0.4 s (standard deviation, common practice, no source): beyond this the hiss belongs
/// to something else.
inline constexpr double kMarkReach_s = 1.5;

/// The hiss heard nearest to each mark, closest pairs first, each hiss given once; nothing farther than `kMarkReach_s`.
[[nodiscard]] std::vector<std::optional<HissBurst>> match_hiss(std::span<const double> marks_s,
                                                               std::span<const HissBurst> heard);

}  // namespace idlehark
