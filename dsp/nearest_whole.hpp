#pragma once

namespace idlehark {

/// std::lround for what is not negative: in constants, and without a call in loops.
[[nodiscard]] constexpr long nearest_whole(double v) noexcept {
    const auto whole = static_cast<long>(v);
    return v - static_cast<double>(whole) < 0.5 ? whole : whole + 1;
}

}  // namespace idlehark
