#include "dsp/balance/spark_firing.hpp"

#include <algorithm>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

/// Degrees after the first spark at which each firing of an even engine is heard, each so long after its own.
std::vector<double> heard(int cylinders, double delay_deg) {
    std::vector<double> after;
    for (int i = 0; i < cylinders; ++i) after.push_back(delay_deg + 720.0 * i / cylinders);
    return after;
}

}  // namespace

TEST_CASE("Spark: the firing it belongs to, heard over the engine or at the tail pipe", "[dsp][balance]") {
    // Exhaust valves open 40 to 65 degrees before the lower dead centre (115 to 140 after the upper one), the spark
    // comes 5 to 25 before it (common practice, no source); sound runs through metres of hot pipe.
    const int cylinders = GENERATE(1, 3, 4, 5, 6, 8, 12);
    const double rpm = GENERATE(600.0, 800.0, 1000.0);
    CAPTURE(cylinders, rpm);
    SECTION("over the engine") {
        const double delay_deg = GENERATE(5.0, 25.0, 45.0);
        const auto after = heard(cylinders, delay_deg);
        const auto f = firing_of_spark(after, 720.0, rpm);
        REQUIRE(f.at_engine);
        if (cylinders <= 8) CHECK(*f.at_engine == 0);
    }
    SECTION("at the tail pipe") {
        const double delay_deg = 140.0 + GENERATE(0.0, 4e-3, 10e-3) * 6.0 * rpm;
        const auto after = heard(cylinders, delay_deg);
        const auto f = firing_of_spark(after, 720.0, rpm);
        CHECK(std::count(f.at_tail_pipe.begin(), f.at_tail_pipe.end(), 0U) == 1);
        if (cylinders <= 5) CHECK(f.at_tail_pipe.size() == 1);
    }
}

TEST_CASE("Spark: sound that is neither combustion nor exhaust belongs to none", "[dsp][balance]") {
    const auto f = firing_of_spark(heard(4, 98.0), 720.0, 810.0);
    CHECK_FALSE(f.at_engine);
    CHECK(f.at_tail_pipe.empty());
    // Of an engine that fires unevenly only what is due: 90 degrees after the first, the second's exhaust is not.
    const auto odd = firing_of_spark(std::vector{20.0, 110.0, 260.0, 350.0, 500.0, 590.0}, 720.0, 700.0);
    CHECK(odd.at_engine == 0U);
    CHECK(odd.at_tail_pipe.empty());
    // A start found a little early lies at the cycle's end.
    CHECK(firing_of_spark(std::vector{715.0, 235.0, 475.0}, 720.0, 800.0).at_engine == 0U);
}
