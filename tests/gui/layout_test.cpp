#include "gui/shell/layout.hpp"

#include <vector>

#include <catch2/catch.hpp>

namespace gui = idlehark::gui;
using gui::Rect;

namespace {

std::vector<Rect> shown(const gui::Layout& l) {
    std::vector<Rect> parts{l.say, l.stop, l.rail, l.page, l.map, l.flip, l.speed, l.trace, l.lamps};
    std::erase_if(parts, [](const Rect& r) { return r.empty(); });
    return parts;
}

double area(const Rect& r) { return static_cast<double>(r.w) * static_cast<double>(r.h); }

}  // namespace

TEST_CASE("Layout: parts fill the window, and none lies over another", "[gui][layout]") {
    const auto size = GENERATE(gui::Size{800, 600}, gui::Size{1024, 768}, gui::Size{1280, 800}, gui::Size{1920, 1080},
                               gui::Size{2560, 1440}, gui::Size{3840, 2160}, gui::Size{600, 900});
    const float scale = GENERATE(1.0F, 1.5F, 2.0F, 3.0F);
    const auto stage = static_cast<gui::Stage>(GENERATE(range(0, static_cast<int>(gui::kStages))));
    const auto front = GENERATE(gui::Front::page, gui::Front::map);
    CAPTURE(size.w, size.h, scale, static_cast<int>(stage));
    const auto l = gui::lay_out(size, scale, stage, front);
    const auto parts = shown(l);
    double covered = 0.0;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        CHECK(parts[i].x >= 0.0F);
        CHECK(parts[i].y >= 0.0F);
        CHECK(parts[i].right() <= size.w + 0.5F);
        CHECK(parts[i].bottom() <= size.h + 0.5F);
        covered += area(parts[i]);
        for (std::size_t k = i + 1; k < parts.size(); ++k)
            CHECK(gui::shared_area(gui::box_of(parts[i]), gui::box_of(parts[k])) < 1.0);
    }
    CHECK(covered == Approx(static_cast<double>(size.w) * static_cast<double>(size.h)).epsilon(0.001));
}

TEST_CASE("Layout: the page or the map is always there, and both where there is room", "[gui][layout]") {
    for (const float scale : {1.0F, 2.0F, 3.0F})
        for (int s = 0; s < static_cast<int>(gui::kStages); ++s) {
            const auto stage = static_cast<gui::Stage>(s);
            CAPTURE(scale, s);
            const auto page = gui::lay_out({800, 600}, scale, stage, gui::Front::page);
            CHECK_FALSE(page.page.empty());
            const auto map = gui::lay_out({800, 600}, scale, stage, gui::Front::map);
            CHECK_FALSE((map.page.empty() && map.map.empty()));
            if (map.page.empty() || page.map.empty() != map.map.empty()) CHECK_FALSE(map.flip.empty());
        }
    const auto wide = gui::lay_out({1280, 800}, 1.0F, gui::Stage::spray);
    CHECK_FALSE(wide.page.empty());
    CHECK(wide.map.w > wide.page.w);  // the map is the screen
    CHECK(wide.flip.empty());
}

TEST_CASE("Layout: STOP is a target for a glove wherever the window allows it", "[gui][layout]") {
    for (const float scale : {1.0F, 1.5F, 2.0F, 3.0F})
        for (const gui::Size size : {gui::Size{800, 600}, gui::Size{1280, 800}, gui::Size{3840, 2160}}) {
            const auto l = gui::lay_out(size, scale, gui::Stage::spray);
            CAPTURE(scale, size.w);
            CHECK(l.stop.right() == Approx(size.w));
            CHECK(l.stop.y == 0.0F);
            CHECK(l.stop.w >= 88.0F);
            CHECK(l.stop.h >= 66.0F);
        }
}

TEST_CASE("Layout: the stations of the rail are in order and inside it", "[gui][layout]") {
    for (const gui::Size size : {gui::Size{800, 600}, gui::Size{1920, 1080}, gui::Size{600, 900}})
        for (const float scale : {1.0F, 2.0F, 3.0F}) {
            const auto l = gui::lay_out(size, scale, gui::Stage::map);
            for (std::size_t i = 0; i < gui::kStages; ++i) {
                CHECK(gui::shared_area(gui::box_of(l.rail), gui::box_of(l.stations[i])) ==
                      Approx(area(l.stations[i])).epsilon(0.001));
                if (i > 0) CHECK((l.stations[i].y > l.stations[i - 1].y || l.stations[i].x > l.stations[i - 1].x));
            }
        }
}

TEST_CASE("Layout: a small window holds the letters small enough to be of use", "[gui][layout]") {
    CHECK(gui::scale_with_room(1.0F, {320.0F, 240.0F}) == 1.0F);
    CHECK(gui::scale_with_room(3.0F, {800.0F, 600.0F}) == 1.5F);
    CHECK(gui::scale_with_room(3.0F, {1920.0F, 1080.0F}) == 3.0F);
    CHECK(gui::scale_with_room(1.3F, {1280.0F, 800.0F}) == 1.3F);
    for (const float asked : {1.0F, 1.5F, 2.0F, 3.0F})
        for (float w = 320.0F; w < 3000.0F; w += 71.0F) {
            const float s = gui::scale_with_room(asked, {w, 0.7F * w});
            CHECK(s >= 1.0F);
            CHECK(s <= asked);
        }
}
