#pragma once

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

}  // namespace idlehark
