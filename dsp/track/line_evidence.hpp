#pragma once

#include <span>

namespace idlehark {

/// Log likelihood ratio "a line is here" against "only noise", of a bin's power over the local floor. A line may be
/// absent, faint or strong; the ratio is capped, so that one line weighs no more however loud it is.
[[nodiscard]] float line_evidence(float power_over_floor) noexcept;
/// The same for many at once, `evidence` as long as `power_over_floor`.
void line_evidence(std::span<const float> power_over_floor, std::span<float> evidence) noexcept;
/// Mean of `line_evidence` over noise alone (power exponentially distributed).
[[nodiscard]] float mean_evidence_of_noise() noexcept;

}  // namespace idlehark
