#include "src/casebook/figures.hpp"

#include "src/files/json_text.hpp"

#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("Figures: what is not of the sort is left out, not fatal", "[src][casebook]") {
    const auto row =
        Json::parse(R"({"good":[1,4],"mixed":[2,"x",null,3.5,{"a":1},7],"word":"1","number":1,"null":null})");
    CHECK(figures::wholes(row, "good") == std::vector{1, 4});
    CHECK(figures::wholes(row, "mixed") == std::vector{2, 7});
    for (const char* key : {"word", "number", "null", "absent"}) CHECK(figures::wholes(row, key).empty());
}
