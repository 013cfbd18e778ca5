#pragma once

#include <array>
#include <cstddef>

namespace idlehark {

/// Sum of a[i] * b[i], in several sums at once so that the compiler may use vectors.
[[nodiscard]] inline float dot(const float* a, const float* b, std::size_t n) noexcept {
    constexpr std::size_t kLanes = 8;
    std::array<float, kLanes> sums{};
    std::size_t i = 0;
    for (; i + kLanes <= n; i += kLanes)
        for (std::size_t k = 0; k < kLanes; ++k) sums[k] += a[i + k] * b[i + k];
    float sum = 0.F;
    for (; i < n; ++i) sum += a[i] * b[i];
    for (const float s : sums) sum += s;
    return sum;
}

}  // namespace idlehark
