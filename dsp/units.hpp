#pragma once

#include <algorithm>
#include <compare>
#include <cstddef>
#include <span>

namespace idlehark {

/// One dimension, one type: a bare 800 is not an Rpm.
template <class Tag>
struct Quantity {
    double value;
    constexpr explicit Quantity(double v) noexcept : value(v) {}
    friend constexpr auto operator<=>(const Quantity&, const Quantity&) noexcept = default;
};

using Hertz = Quantity<struct HertzTag>;
using Rpm = Quantity<struct RpmTag>;
using Seconds = Quantity<struct SecondsTag>;

/// Mono samples, nominal -1..1.
using AudioView = std::span<const float>;

/// A block in parts of 4096 samples at most: memory stays small and near, and what is done after each part cannot
/// depend on the caller's blocks.
template <class Do>
void in_parts(AudioView x, Do&& act) {
    constexpr std::size_t kPart = 4096;
    for (std::size_t i = 0; i < x.size(); i += kPart) act(x.subspan(i, std::min(kPart, x.size() - i)));
}

}  // namespace idlehark
