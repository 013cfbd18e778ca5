#pragma once

#include "dsp/engine.hpp"

namespace idlehark {

/// How far an idle may lie beyond the stated range, as a factor: handbooks mean a warm engine.
inline constexpr double kStatedIdleSlack = 1.1;

/// Whether a speed is the stated idle's, or nearly.
[[nodiscard]] inline bool is_stated_idle(const Engine& e, Rpm speed) noexcept {
    return speed.value > e.idle_low_rpm / kStatedIdleSlack && speed.value < e.idle_high_rpm * kStatedIdleSlack;
}

}  // namespace idlehark
