#pragma once

namespace idlehark {

/// A calorically perfect gas. Air: ratio of specific heats 1.4, specific gas constant 287.05 J/(kg K).
struct Gas {
    double heat_ratio = 1.4;
    double gas_constant_j_per_kg_k = 287.05;
};

/// Downstream over upstream total pressure at and below which the flow through a hole is choked:
/// (2 / (g + 1))^(g / (g - 1)). Air 0.5283: at sea level a manifold below 53.5 kPa absolute, so a leak at a healthy
/// idle. Source: NACA Report 1135 (1953), at Mach 1.
[[nodiscard]] double critical_pressure_ratio(double heat_ratio = 1.4) noexcept;

/// What stands outside the hole.
struct Upstream {
    double pressure_pa = 101325.0;
    double temperature_k = 293.15;
};

/// Mass flow through a hole of `area_m2`, in kg/s: isentropic up to the critical ratio, choked below (constant).
/// `discharge`: share of the area that flows, 0.6 for a sharp edge. Downstream at or above upstream: 0.
[[nodiscard]] double hole_mass_flow_kg_per_s(double area_m2, double discharge, double downstream_pa,
                                             const Upstream& upstream = {}, const Gas& gas = {}) noexcept;

/// The same at the choked limit, whatever the manifold pressure:
/// Cd A p0 / sqrt(T0) * sqrt(g / R) * (2 / (g + 1))^((g + 1) / (2 (g - 1))).
[[nodiscard]] double choked_mass_flow_kg_per_s(double area_m2, double discharge, const Upstream& upstream = {},
                                               const Gas& gas = {}) noexcept;

[[nodiscard]] double hole_area_m2(double diameter_mm) noexcept;

}  // namespace idlehark
