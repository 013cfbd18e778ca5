#pragma once

#include <vector>

namespace idlehark {

/// The line above which a cylinder's firings are ordinary ones, where so many are missing that the middle of all is
/// none; minus infinity where the strengths do not lie in two heaps, the lower one large and far below the upper.
/// Method   the split that leaves the least variance within the heaps (Otsu's, from memory); two are believed in where
///          they lie further apart than the halves of a single bell would.
[[nodiscard]] double ordinary_above(std::vector<double> strengths);

}  // namespace idlehark
