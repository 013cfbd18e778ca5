#include "gui/plots/axis.hpp"
#include "gui/plots/order_fall.hpp"
#include "gui/plots/rows.hpp"
#include "gui/plots/speed_trace.hpp"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

using namespace idlehark::gui;

TEST_CASE("Axis: ticks are round, inside, and not too many", "[gui][plots]") {
    const double low = GENERATE(-37.0, 0.0, 612.3, 0.0021);
    const double range = GENERATE(0.004, 1.0, 7.0, 33.0, 2500.0);
    const int most = GENERATE(2, 5, 9);
    const Axis axis{low, low + range, 10.0, 110.0};
    const auto ticks = axis.ticks(most);
    CAPTURE(low, range, most);
    CHECK(ticks.size() <= static_cast<std::size_t>(most));
    CHECK(!ticks.empty());
    if (ticks.size() > 1) {
        const double step = ticks[1] - ticks[0];
        const double lead = step / std::pow(10.0, std::floor(std::log10(step) + 1e-6));
        CHECK((std::abs(lead - 1) < 1e-6 || std::abs(lead - 2) < 1e-6 || std::abs(lead - 5) < 1e-6));
    }
    for (const double t : ticks) {
        CHECK(t >= low - 1e-6 * range);
        CHECK(t <= low + range + 1e-6 * range);
    }
    CHECK(axis.at(low) == Approx(10.0));
    CHECK(axis.at(low + range) == Approx(110.0));
}

TEST_CASE("Speed trace: a steady idle looks steady, a stray reading does not flatten the rest", "[gui][plots]") {
    std::vector<SpeedTrace::Reading> readings;
    for (int i = 0; i < 600; ++i)
        readings.push_back({0.1 * i, 800.0 + std::sin(i), 799.0 + std::sin(i), 801.0 + std::sin(i)});
    SpeedTrace trace;
    trace.readings = readings;
    auto y = speed_axis(trace, 100.0, 0.0);
    CHECK(y.high - y.low >= 30.0);
    CHECK(y.high - y.low <= 40.0);
    CHECK(y.at(800.0) == Approx(50.0).margin(3.0));
    readings[100] = {10.0, 1600.0, 1590.0, 1610.0};
    trace.readings = readings;
    y = speed_axis(trace, 100.0, 0.0);
    CHECK(y.high < 850.0);
    trace.usual_rpm = 870.0;
    CHECK(speed_axis(trace, 100.0, 0.0).high > 870.0);
    trace.readings = {};
    trace.usual_rpm = std::nan("");
    CHECK(std::isfinite(speed_axis(trace, 100.0, 0.0).low));
}

TEST_CASE("Speed trace: thinning keeps every column's extremes and the breaks", "[gui][plots]") {
    std::vector<SpeedTrace::Reading> readings;
    for (int i = 0; i < 36000; ++i) readings.push_back({0.1 * i, i >= 20000 && i < 20500 ? std::nan("") : 800.0});
    readings[7777].rpm = 900.0;
    readings[30001].rpm = 700.0;
    const auto few = thinned(readings, 0.0, 3600.0, 500.0);
    CHECK(few.size() < 2500);
    const auto has = [&](double rpm) {
        return std::any_of(few.begin(), few.end(), [&](const auto& r) { return r.rpm == rpm; });
    };
    CHECK(has(900.0));
    CHECK(has(700.0));
    CHECK(std::any_of(few.begin(), few.end(), [](const auto& r) { return std::isnan(r.rpm); }));
    CHECK(std::is_sorted(few.begin(), few.end(), [](const auto& a, const auto& b) { return a.time_s < b.time_s; }));
    CHECK(few.front().time_s == 0.0);
    CHECK(few.back().time_s == readings.back().time_s);
    CHECK(thinned(readings, 10.0, 20.0, 500.0).size() == 100);
    CHECK(thinned({}, 0.0, 60.0, 500.0).empty());
}

TEST_CASE("Order fall: lightness falls with loudness, for every eye", "[gui][plots]") {
    for (const auto sight : kSights)
        for (double db = 0.0; db < 30.0; db += 1.0)
            CHECK(relative_luminance(seen(fall_colour(db + 1.0), sight)) <
                  relative_luminance(seen(fall_colour(db), sight)));
    CHECK_THROWS_AS(OrderFall(1, 10.0, 10), std::invalid_argument);
}

TEST_CASE("Rows: as many as a page left room for are drawn, at every size", "[gui][plots]") {
    for (int twentieths = 20; twentieths <= 60; ++twentieths) {
        const float scale = static_cast<float>(twentieths) / 20.0F;
        for (std::size_t rows = 1; rows <= 40; ++rows) {
            const float room =
                static_cast<float>(kRowHeight * static_cast<double>(rows)) * scale;  // as PlotPlaces does
            CAPTURE(scale, rows);
            CHECK(rows_with_room(double{room}, kRowHeight * double{scale}) == rows);
        }
    }
    CHECK(rows_with_room(35.0, 36.0) == 0);
    CHECK(rows_with_room(-5.0, 36.0) == 0);
}
