#include "dsp/engine.hpp"
#include "dsp/leak_flow.hpp"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::WithinAbs;

TEST_CASE("Engine: firing intervals and frequencies of the textbook table", "[published][engine]") {
    // Interval 720/N degrees, firing frequency N rpm/120 at 800 rpm: the table of any engine textbook. Values computed
    // by hand; the firing orders as printed in workshop literature.
    struct Row {
        int cylinders;
        double interval_deg, firing_hz;
        std::vector<int> order;
    };
    const std::vector<Row> table{
        {3, 240.0, 20.0, {1, 3, 2}},
        {4, 180.0, 26.667, {1, 3, 4, 2}},
        {5, 144.0, 33.333, {1, 2, 4, 5, 3}},
        {6, 120.0, 40.0, {1, 5, 3, 6, 2, 4}},
        {8, 90.0, 53.333, {1, 8, 4, 3, 6, 5, 7, 2}},
        {12, 60.0, 80.0, {1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10}},
    };
    for (const Row& row : table) {
        CAPTURE(row.cylinders);
        Engine e;
        e.cylinders = row.cylinders;
        e.firing_order = row.order;
        REQUIRE_NOTHROW(check(e));
        CHECK_THAT(firing_frequency(e, Rpm{800.0}).value, WithinAbs(row.firing_hz, 5e-4));
        CHECK_THAT(cycle_frequency(e, Rpm{800.0}).value, WithinAbs(6.667, 5e-4));
        CHECK_THAT(speed_from_cycle_frequency(e, cycle_frequency(e, Rpm{800.0})).value, WithinAbs(800.0, 1e-10));
        const auto at = firing_fractions(e);
        REQUIRE(at.size() == static_cast<std::size_t>(row.cylinders));
        for (std::size_t k = 0; k < at.size(); ++k)
            CHECK_THAT(at[k] * cycle_deg(e), WithinAbs(static_cast<double>(k) * row.interval_deg, 1e-10));
    }
    Engine two_stroke;
    two_stroke.cylinders = 2;
    two_stroke.strokes = 2;
    CHECK_THAT(firing_frequency(two_stroke, Rpm{1200.0}).value, WithinAbs(40.0, 1e-12));  // N rpm/60
}

TEST_CASE("Leak flow: isentropic and choked values in print", "[published][leak]") {
    // NACA Report 1135 (1953), table of subsonic flow, gamma 1.4: p/p0 = 0.5283 at Mach 1 (read from a data book that
    // reprints it), 0.8430 at Mach 0.5 with A/A* = 1.3398. Gamma 1.3 and 1.667: computed, 0.5457 and 0.4871.
    CHECK_THAT(critical_pressure_ratio(), WithinAbs(0.5283, 5e-5));
    CHECK_THAT(critical_pressure_ratio(1.3), WithinAbs(0.5457, 5e-5));
    CHECK_THAT(critical_pressure_ratio(1.667), WithinAbs(0.4871, 5e-5));
    const double area_m2 = hole_area_m2(2.0);
    const double choked = choked_mass_flow_kg_per_s(area_m2, 1.0);
    // Through a throat of the same area, flow at pressure ratio p(M)/p0 is A*/A of the choked one.
    CHECK_THAT(hole_mass_flow_kg_per_s(area_m2, 1.0, 0.84302 * 101325.0) / choked, WithinAbs(1.0 / 1.3398, 2e-4));
    // A worked example of a choked-flow tutorial: 80 psig supply, 14.7 psi outside, choked for every outlet below
    // 35.30 psig (which uses 0.528 of 94.7 psi absolute).
    CHECK_THAT(critical_pressure_ratio() * 94.7 - 14.7, WithinAbs(35.30, 0.04));
    // Dry air on a standard day: 0.040415 Cd A p0 / sqrt(T0), and holes of 1, 2, 3 mm; computed from the formula.
    CHECK_THAT(choked / (area_m2 * 101325.0 / std::sqrt(293.15)), WithinAbs(0.040415, 1e-6));
    const double flows_g_per_s[3][2] = {{1.0, 0.1878}, {2.0, 0.7514}, {3.0, 1.6906}};
    for (const auto& row : flows_g_per_s) {
        CHECK_THAT(1e3 * choked_mass_flow_kg_per_s(hole_area_m2(row[0]), 1.0), WithinAbs(row[1], 1e-4));
        CHECK_THAT(1e3 * hole_mass_flow_kg_per_s(hole_area_m2(row[0]), 0.6, 35e3), WithinAbs(0.6 * row[1], 1e-4));
    }
    // Manifold at 53.5 kPa: the limit of choking at 101.325 kPa outside; above it the flow falls.
    CHECK_THAT(critical_pressure_ratio() * 101.325, WithinAbs(53.5, 0.05));
    CHECK(hole_mass_flow_kg_per_s(area_m2, 1.0, 50e3) == hole_mass_flow_kg_per_s(area_m2, 1.0, 30e3));
    CHECK(hole_mass_flow_kg_per_s(area_m2, 1.0, 60e3) < hole_mass_flow_kg_per_s(area_m2, 1.0, 50e3));
}
