#include "src/report/verdict_picture.hpp"
#include "src/report/verdict_text.hpp"
#include "tests/src/support.hpp"

#include <cmath>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {
SpotRow row(const char* spot, const char* name, double change, SprayVerdict verdict) {
    return {.spot = spot,
            .name = name,
            .bursts = 3,
            .change_rpm = change,
            .low_rpm = change - 2.0,
            .high_rpm = change + 2.0,
            .p_value = 0.02,
            .delay_s = std::nan(""),
            .verdict = verdict};
}
VerdictView some_view() {
    VerdictView view;
    view.recording = "bay.flac";
    view.idle_rpm = 812.0;
    view.matters_rpm = 15.0;
    view.spots = {row("1", "hose", 0.2, SprayVerdict::none_seen),
                  row("2", "Dichtung, hinten ü", -22.0, SprayVerdict::leak),
                  row("3", "seal", 7.0, SprayVerdict::overspray),
                  row("4", "", 31.0, SprayVerdict::leak),
                  SpotRow{},
                  row("6", "", std::nan(""), SprayVerdict::undecided)};
    view.spots[4].spot = "5";
    view.cautions = {"the idle is regulated"};
    for (int i = 0; i < 3000; ++i)
        view.speed.push_back({0.1 * i, i > 1000 && i < 1050 ? std::nan("") : 812.0 + 5.0 * std::sin(0.1 * i)});
    view.bursts = {{20.0, "1"}, {40.0, "2"}, {60.0, "not on the list"}};
    return view;
}
}  // namespace

TEST_CASE("Verdict: leaks come first, the larger change first", "[src][report]") {
    std::string order;
    for (const auto& s : ranked(some_view().spots)) order += s.spot;
    CHECK(order == "423615");
    CHECK(headline(some_view(), true) == "2 leaks: 4, 2 (Dichtung, hinten ü)");
    CHECK(headline(some_view(), false) == "2 leaks: 4, 2");
    CHECK(headline(VerdictView{}, true) == "No leak is proven");
    auto none = some_view();
    std::erase_if(none.spots, [](const SpotRow& s) { return s.verdict == SprayVerdict::leak; });
    CHECK(headline(none, true) == "No leak is proven; 1 of 4 spots not sprayed");
}

TEST_CASE("Verdict: signed whole numbers", "[src][report]") {
    CHECK(signed_rpm(12.4) == "+12");
    CHECK(signed_rpm(-12.6) == "−13");
    CHECK(signed_rpm(-0.3) == "0");
}

TEST_CASE("Verdict: the table has a row a spot, columns in line whatever the letters", "[src][report]") {
    const auto table = verdict_table(some_view());
    CHECK_THAT(table, Contains("caution: the idle is regulated"));
    CHECK_THAT(table, Contains("4                              3         +31  +29 to +33"));
    CHECK_THAT(table, Contains("2     Dichtung, hinten ü       3         −22  −24 to −20"));
    CHECK_THAT(table, Contains("undecided"));
    CHECK_THAT(table, Contains("not sprayed"));
}

TEST_CASE("Verdict: JSON keeps the map's order and has null for no number", "[src][report]") {
    const auto json = nlohmann::json::parse(verdict_json(some_view()));
    CHECK(json.at("spots").at(0).at("spot") == "1");
    CHECK(json.at("spots").at(0).at("verdict") == "none seen");
    CHECK(json.at("spots").at(0).at("change_rpm") == 0.2);
    CHECK(json.at("spots").at(4).at("change_rpm").is_null());
    CHECK(json.at("hunting_rpm").is_null());
    CHECK(json.at("cautions").size() == 1);
}

TEST_CASE("Verdict picture: is drawn from any view, with any text", "[src][report]") {
    const test::ScratchFolder folder;
    CHECK(draw_verdict(VerdictView{}, folder.path("nothing.png")));
    auto view = some_view();
    view.spots[0].name =
        "\xff\xc3 not UTF-8, and far too long for the room there is in the column of the names of the spots";
    view.recording = std::string(500, 'x');
    for (int i = 0; i < 100; ++i) view.bursts.push_back({0.3 * i, std::string(30, '7')});
    view.spots[1].low_rpm = -1e9;
    CHECK(draw_verdict(view, folder.path("v.png")));
    CHECK(draw_verdict(view, folder.path("v.svg")));
    CHECK_THAT(test::slurp(folder.path("v.png")), StartsWith("\x89PNG"));
    CHECK_THAT(test::slurp(folder.path("v.svg")), Contains("<svg"));
    CHECK_FALSE(draw_verdict(view, folder.path("v.gif")));
    CHECK_FALSE(draw_verdict(view, folder.path("no/folder.png")));
}
