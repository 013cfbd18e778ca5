#include "src/analysis/spray_session.hpp"

#include "src/analysis/marks_once.hpp"
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

TEST_CASE("marks_once: a burst marked twice counts once, two spots within a second are told", "[src][spray]") {
    const auto at = [](double time_s, std::string spot) {
        return Mark{.time_s = time_s, .spot = std::move(spot), .extra = {}, .line = 0};
    };
    std::vector<std::string> said;
    const std::vector<Mark> plain{at(40.0, "2"), at(20.0, "1"), at(60.0, "1"), at(61.0, "1"), at(80.0, "1+2")};
    CHECK(marks_once(plain, "m.csv", said).size() == plain.size());
    CHECK(said.empty());
    const std::vector<Mark> odd{at(40.3, "2"), at(20.0, "1"), at(40.0, "2"), at(20.9, "3"), at(40.6, "2")};
    const auto counted = marks_once(odd, "m.csv", said);
    REQUIRE(counted.size() == 3);  // in the file's order
    CHECK(counted[0].time_s == 20.0);
    CHECK(counted[1].time_s == 40.0);
    CHECK(counted[2].spot == "3");
    REQUIRE(said.size() == 3);
    CHECK(said[0] ==
          "m.csv: spots 1 and 3 are marked within a second, at 20.9 s; what the speed did then counts for both");
    CHECK(said[1] == "m.csv: spot 2 is marked at 40 and 40.3 s; counted once");
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
