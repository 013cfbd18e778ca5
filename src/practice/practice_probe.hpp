#pragma once

#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/session.hpp"

#include <cstddef>
#include <vector>

namespace idlehark {

inline constexpr double kProbeRate_hz = 32000.0;
inline constexpr double kProbe_s = 12.0;  ///< how long a take lasts

/// What a probe hears in a practice bay with nobody spraying: at a spot for the hiss survey, or on an injector's body.
/// The same bay and place give the same sound. How loud a leak of so many rpm hisses is invented, nothing is measured.
/// Errors   std::out_of_range for a place that the bay does not have.
[[nodiscard]] std::vector<float> probe_spot(const sim::SessionSpec& bay, std::size_t spot);
[[nodiscard]] std::vector<float> probe_injector(const sim::SessionSpec& bay, int cylinder);

/// How the bay's injectors do, by cylinder: one that makes its cylinder misfire misses clicks; else about every second
/// bay has an odd one.
[[nodiscard]] std::vector<sim::InjectorHealth> practice_injectors(const sim::SessionSpec& bay);

}  // namespace idlehark
