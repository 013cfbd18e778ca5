#pragma once

#include "dsp/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

namespace idlehark {

/// The samples from `first` on, which may lie before the recording; outside it, and for what is not finite, silence.
inline void read_stretch(AudioView x, std::ptrdiff_t first, std::span<float> out) {
    const auto begin = std::clamp<std::ptrdiff_t>(-first, 0, std::ssize(out));
    const auto end = std::clamp<std::ptrdiff_t>(std::ssize(x) - first, begin, std::ssize(out));
    std::fill(out.begin(), out.end(), 0.F);
    for (auto i = begin; i < end; ++i)
        if (const float v = x[static_cast<std::size_t>(first + i)]; std::isfinite(v))
            out[static_cast<std::size_t>(i)] = v;
}

}  // namespace idlehark
