#include "dsp/leak_flow.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace idlehark {

double critical_pressure_ratio(double g) noexcept { return std::pow(2.0 / (g + 1.0), g / (g - 1.0)); }

double hole_mass_flow_kg_per_s(double area_m2, double discharge, double downstream_pa, const Upstream& up,
                               const Gas& gas) noexcept {
    const double g = gas.heat_ratio;
    const double ratio = std::max(downstream_pa / up.pressure_pa, critical_pressure_ratio(g));
    if (ratio >= 1.0) return 0.0;
    // Saint-Venant and Wantzel: velocity from the enthalpy drop, density by the isentrope.
    const double drop = std::pow(ratio, 2.0 / g) - std::pow(ratio, (g + 1.0) / g);
    return discharge * area_m2 * up.pressure_pa *
           std::sqrt(2.0 * g / ((g - 1.0) * gas.gas_constant_j_per_kg_k * up.temperature_k) * drop);
}

double choked_mass_flow_kg_per_s(double area_m2, double discharge, const Upstream& up, const Gas& gas) noexcept {
    const double g = gas.heat_ratio;
    return discharge * area_m2 * up.pressure_pa / std::sqrt(up.temperature_k) *
           std::sqrt(g / gas.gas_constant_j_per_kg_k) * std::pow(2.0 / (g + 1.0), (g + 1.0) / (2.0 * (g - 1.0)));
}

double hole_area_m2(double diameter_mm) noexcept { return std::numbers::pi / 4.0 * diameter_mm * diameter_mm * 1e-6; }

}  // namespace idlehark
