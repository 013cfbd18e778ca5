#pragma once

#include <vector>

namespace idlehark {

/// The line above which a cylinder's firings are ordinary ones, where so many are missing that the middle of all is
/// none; minus infinity where the strengths do not lie in two heaps, the lower one large and far below the upper.
/// Method   the split whose heaps' means lie furthest apart, in standard deviations within the heaps; two heaps it is
///          where that is further than the halves of a single bell would be.
[[nodiscard]] double ordinary_above(std::vector<double> strengths);

}  // namespace idlehark
