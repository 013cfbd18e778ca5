#include "src/analysis/spray_session.hpp"

#include "src/analysis/match_hiss.hpp"

#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("match_hiss: each mark gets the nearest hiss, each hiss one mark", "[src][spray]") {
    const std::vector<HissBurst> heard{{.time_s = 10.2}, {.time_s = 11.0}, {.time_s = 30.0}, {.time_s = 50.0}};
    const std::vector<double> marks{10.0, 10.9, 28.0, 50.3, 51.0};
    const auto match = match_hiss(marks, heard);
    REQUIRE(match.size() == 5);
    CHECK(match[0]->time_s == 10.2);
    CHECK(match[1]->time_s == 11.0);
    CHECK_FALSE(match[2]);  // 2 s off
    CHECK(match[3]->time_s == 50.0);
    CHECK_FALSE(match[4]);  // its hiss is nearer to another mark
    CHECK(match_hiss({}, heard).empty());
}

TEST_CASE("spread_order: once, or in whole rounds", "[src][spray]") {
    const std::vector<std::string> order{"3", "7", "1"};
    CHECK(spread_order(order, 3) == order);
    CHECK(spread_order(order, 6) == std::vector<std::string>{"3", "7", "1", "3", "7", "1"});
    CHECK_FALSE(spread_order(order, 4));
    CHECK_FALSE(spread_order(order, 2));
    CHECK_FALSE(spread_order(order, 0));
    CHECK_FALSE(spread_order({}, 3));
}
