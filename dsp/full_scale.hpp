#pragma once

namespace idlehark {

/// A sample at least this large, either way, counts as clipped. Full scale is 1.
inline constexpr float kFullScale = 0.9999F;

}  // namespace idlehark
