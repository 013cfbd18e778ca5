#include "gui/look/colour.hpp"
#include "gui/look/finding.hpp"
#include "gui/look/geometry.hpp"
#include "gui/look/palette.hpp"

#include <array>
#include <utility>

#include <catch2/catch.hpp>

using namespace idlehark::gui;
using Catch::Matchers::WithinAbs;

TEST_CASE("Colour: luminance and contrast are those of the guidelines", "[gui][look]") {
    CHECK_THAT(contrast_ratio({0, 0, 0}, {255, 255, 255}), WithinAbs(21.0, 1e-9));
    CHECK_THAT(contrast_ratio({10, 20, 30}, {10, 20, 30}), WithinAbs(1.0, 1e-9));
    // The well-known boundary grey: #767676 on white just passes 4.5, #777777 just fails (4.54 and 4.48).
    CHECK_THAT(contrast_ratio({0x76, 0x76, 0x76}, {255, 255, 255}), WithinAbs(4.54, 0.005));
    CHECK_THAT(contrast_ratio({0x77, 0x77, 0x77}, {255, 255, 255}), WithinAbs(4.48, 0.005));
    CHECK_THAT(relative_luminance({255, 0, 0}), WithinAbs(0.2126, 1e-9));
}

TEST_CASE("Colour: simulated sight leaves greys alone and merges what it must", "[gui][look]") {
    for (const auto sight : kSights)
        for (const std::uint8_t v : std::initializer_list<std::uint8_t>{0, 17, 128, 200, 255}) {
            const auto s = seen({v, v, v}, sight);
            CHECK(std::abs(s.r - v) <= 1);
            CHECK(std::abs(s.g - v) <= 1);
            CHECK(std::abs(s.b - v) <= 1);
        }
    // A red and an olive that differ strongly to a full eye and hardly to a deuteranope's.
    const Rgb red{0xc0, 0x60, 0x30};
    const Rgb olive{0x82, 0x7a, 0x24};
    CHECK(difference(red, olive) > 40.0);
    CHECK(difference(seen(red, Sight::deuteranopia), seen(olive, Sight::deuteranopia)) < 15.0);
    CHECK(difference({0, 0, 0}, {255, 255, 255}) == Approx(100.0).margin(0.01));  // L* from 0 to 100
}

TEST_CASE("Palette: text is readable at 7 : 1, whoever looks", "[gui][look]") {
    using namespace palette;
    const std::array<std::pair<Rgb, Rgb>, 14> pairs{{{kInk, kPaper},
                                                     {kInk, kPanel},
                                                     {kInk, kShade},
                                                     {kInk, kMetal},
                                                     {kInk, kDarkMetal},
                                                     {kFaintInk, kPaper},
                                                     {kFaintInk, kPanel},
                                                     {kTrace, kPanel},
                                                     {kAction, kPanel},
                                                     {kOnAction, kAction},
                                                     {kOnStop, kStop},
                                                     {kOnClear, kClear},
                                                     {kOnOpen, kOpen},
                                                     {kOnShadowed, kShadowed}}};
    for (const auto sight : kSights)
        for (const auto& [text, ground] : pairs) {
            CAPTURE(int(sight), int(text.r), int(text.g), int(text.b), int(ground.r), int(ground.g), int(ground.b));
            // Saturated reds and blues turn lighter for some eyes; there the level for large text (4.5) has to do.
            CHECK(contrast_ratio(seen(text, sight), seen(ground, sight)) >= (sight == Sight::full ? 7.0 : 4.5));
        }
    for (const auto sight : kSights)  // large bold numbers only
        CHECK(contrast_ratio(seen(kOnFault, sight), seen(kFault, sight)) >= 4.5);
}

TEST_CASE("Palette: no finding is taken for another, whoever looks", "[gui][look]") {
    constexpr std::array<Finding, 4> kAll{Finding::fault, Finding::shadowed, Finding::clear, Finding::open};
    constexpr double kClearlyApart = 20.0;  // nearly ten times what is just noticeable
    for (const auto sight : kSights)
        for (std::size_t i = 0; i < kAll.size(); ++i)
            for (std::size_t k = i + 1; k < kAll.size(); ++k) {
                CAPTURE(int(sight), i, k);
                CHECK(difference(seen(colours(kAll[i]).fill, sight), seen(colours(kAll[k]).fill, sight)) >=
                      kClearlyApart);
            }
}

TEST_CASE("Palette: what to do now stands out from paper and from every finding", "[gui][look]") {
    for (const auto sight : kSights) {
        CHECK(contrast_ratio(seen(palette::kAction, sight), seen(palette::kPaper, sight)) >= 4.5);
        CHECK(contrast_ratio(seen(palette::kAction, sight), seen(palette::kMetal, sight)) >= 3.0);
        if (sight == Sight::grey) continue;  // there its size and arrows have to do
        for (const auto f : {Finding::fault, Finding::shadowed, Finding::clear, Finding::open})
            CHECK(difference(seen(palette::kAction, sight), seen(colours(f).fill, sight)) >= 20.0);
    }
}

TEST_CASE("Box: shared area", "[gui][look]") {
    CHECK(shared_area({0, 0, 10, 10}, {5, 5, 10, 10}) == 25.0);
    CHECK(shared_area({0, 0, 10, 10}, {10, 0, 10, 10}) == 0.0);
    CHECK(Box{0, 0, 10, 10}.holds(Box{1, 1, 9, 9}));
    CHECK_FALSE(Box{0, 0, 10, 10}.holds(Box{1, 1, 9, 9.5}));
}

TEST_CASE("Findings: a proven fault of every test has the same shape, and so has what is well", "[gui][look]") {
    using namespace idlehark;
    for (const auto f :
         {finding(SprayVerdict::leak), finding(InjectorVerdict::missing_clicks), finding(InjectorVerdict::silent),
          finding(HissVerdict::stands_out), finding(CylinderVerdict::weak), finding(CylinderVerdict::misfires),
          finding(ChangeVerdict::worse)})
        CHECK(f == Finding::fault);
    for (const auto f :
         {finding(SprayVerdict::none_seen), finding(InjectorVerdict::regular), finding(HissVerdict::ordinary),
          finding(CylinderVerdict::even), finding(ChangeVerdict::better)})
        CHECK(f == Finding::clear);
    for (const auto f :
         {finding(SprayVerdict::undecided), finding(HissVerdict::undecided), finding(CylinderVerdict::undecided),
          finding(ChangeVerdict::no_proven), finding(ChangeVerdict::unknown)})
        CHECK(f == Finding::open);
}
