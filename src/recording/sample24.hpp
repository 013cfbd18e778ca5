#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace idlehark {

/// What the recording keeps of a captured sample: 24 bits, at the top of 32. Not a number is kept as silence.
/// The live figures are taken from the same value, so that a replay of the recording sees the same numbers.
[[nodiscard]] inline std::int32_t to_24_bits(float x) noexcept {
    if (!(x == x)) return 0;
    const float scaled = std::clamp(x * 8388608.0F, -8388608.0F, 8388607.0F);
    return static_cast<std::int32_t>(std::lrintf(scaled)) * 256;
}

/// As a reader of the file gets it back; exact.
[[nodiscard]] inline float from_24_bits(std::int32_t v) noexcept {
    const std::int32_t steps = v / 256;
    return static_cast<float>(steps) / 8388608.0F;
}

}  // namespace idlehark
