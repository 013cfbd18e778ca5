#include "gui/map/draw_map.hpp"

#include "gui/map/schematic.hpp"
#include "tests/gui/screens.hpp"

using namespace idlehark;
using namespace idlehark::gui;

namespace {

/// A bay in the middle of a spray test.
MapScene busy_scene(const Schematic& s) {
    MapScene scene{.schematic = &s};
    for (std::size_t i = 0; i < s.spots.size(); ++i) {
        const auto& spot = s.spots[i];
        SpotMark mark{.spot = spot.spot, .name = spot.name, .at_mm = {spot.x_mm, spot.y_mm}};
        if (i % 5 != 4) {
            const bool leak = i == 2;
            const bool shadowed = i == 3;
            const bool clear = !leak && !shadowed && i % 2 == 1;
            mark.finding = leak       ? Finding::fault
                           : shadowed ? Finding::shadowed
                           : clear    ? Finding::clear
                                      : Finding::open;
            mark.verdict = leak ? "leak" : shadowed ? "overspray" : clear ? "none seen" : "undecided";
            mark.value = leak ? 24.0 : shadowed ? 9.0 : 1.0;
            mark.low = mark.value - (clear ? 5.0 : 11.0);
            mark.high = mark.value + (clear ? 5.0 : 11.0);
            mark.bursts = 1 + static_cast<int>(i % 3);
        }
        scene.spots.push_back(mark);
    }
    scene.next = s.spots[4].spot;
    scene.next_word = "SPRAY HERE";
    return scene;
}

Engine engine_of(int cylinders, int rows) {
    Engine e;
    e.cylinders = cylinders;
    e.banks.resize(static_cast<std::size_t>(rows));
    for (int c = 1; c <= cylinders; ++c) e.banks[static_cast<std::size_t>((c - 1) * rows / cylinders)].push_back(c);
    return e;
}

}  // namespace

TEST_CASE("Map: drawn at every size; the next spot, a leak and a decided spot look their part", "[gui][map][display]") {
    struct Screen {
        unsigned w, h;
        double scale;
        int cylinders, rows;
    };
    const auto at = GENERATE(values<Screen>({{800, 600, 1.0, 4, 1},
                                             {1280, 800, 1.0, 4, 1},
                                             {1280, 800, 1.5, 3, 1},
                                             {1920, 1080, 1.0, 6, 2},
                                             {1920, 1080, 1.5, 8, 2},
                                             {1280, 800, 1.0, 12, 2},
                                             {1920, 1080, 2.0, 6, 1},
                                             {3840, 2160, 3.0, 4, 1}}));
    const auto s = draw_schematic(engine_of(at.cylinders, at.rows));
    const auto scene = busy_scene(s);
    MapCamera camera;
    camera.fit(bounds_of(scene, 0.0), {0, 0, double(at.w), double(at.h)}, 20.0 * at.scale);
    MapLayout layout;
    const std::string name = "map_" + std::to_string(at.w) + "x" + std::to_string(at.h) + "_" +
                             std::to_string(int(100 * at.scale)) + "_" + std::to_string(at.cylinders) + "cyl";
    const auto paint = [&](Canvas& canvas) {
        layout = lay_out(scene, camera, measure_with(canvas), at.scale);
        draw_map(canvas, scene, layout, camera);
    };
    const auto image = screen(name, at.w, at.h, at.scale, paint);
    CAPTURE(name);
    const auto& leak = layout.plates[2].box;
    CHECK(count_of(image, leak, palette::kFault) > 0.4 * leak.w * leak.h);
    CHECK(count_of(image, leak, palette::kOnFault) > 0.02 * leak.w * leak.h);  // its number
    const auto& next = layout.plates[4].box;
    CHECK(count_of(image, next.inset(-20.0 * at.scale), palette::kAction) > 300.0 * at.scale * at.scale);
    const auto& clear = layout.plates[1].box;
    CHECK(count_of(image, clear, palette::kClear) > 0.3 * clear.w * clear.h);

    const auto again = screen(name, at.w, at.h, at.scale, paint);
    const auto bytes = std::size_t{4} * at.w * at.h;
    CHECK(std::equal(image.getPixelsPtr(), image.getPixelsPtr() + bytes, again.getPixelsPtr()));
}

TEST_CASE("Map: while it is made, every joint is named", "[gui][map][display]") {
    const auto s = draw_schematic(engine_of(4, 1));
    auto scene = busy_scene(s);
    for (auto& mark : scene.spots) mark.finding.reset();
    scene.next.clear();
    scene.chosen = "7";
    scene.labels = MapLabels::names;
    MapCamera camera;
    camera.fit(bounds_of(scene, 0.0), {0, 0, 1280, 800}, 20.0);
    MapLayout layout;
    screen("map_names", 1280, 800, 1.0, [&](Canvas& canvas) {
        layout = lay_out(scene, camera, measure_with(canvas), 1.0);
        draw_map(canvas, scene, layout, camera);
    });
    for (const auto& p : layout.plates) CHECK(p.label);
}

TEST_CASE("Map: lies on a photo, whole and looked at closely", "[gui][map][display]") {
    // A photo with a dark grid every 100 px, so that its place can be read off.
    constexpr unsigned kWide = 1200;
    constexpr unsigned kHigh = 900;
    sf::Image photo;
    photo.create(kWide, kHigh);
    for (unsigned y = 0; y < kHigh; ++y)
        for (unsigned x = 0; x < kWide; ++x) {
            const bool line = x % 100 < 4 || y % 100 < 4;
            photo.setPixel(
                x, y,
                line ? sf::Color{20, 20, 20}
                     : sf::Color(static_cast<sf::Uint8>(90 + x / 12), 110, static_cast<sf::Uint8>(90 + y / 9)));
        }
    MapScene scene;
    scene.picture_width_mm = 600.0;
    for (int i = 0; i < 2; ++i) {
        SpotMark mark{.spot = std::to_string(i + 1), .name = "hose"};
        mark.at_mm = {100.0 + 400.0 * i, 150.0 + 250.0 * i};
        mark.finding = i == 1 ? Finding::fault : Finding::open;
        mark.verdict = i == 1 ? "leak" : "undecided";
        scene.spots.push_back(mark);
    }
    MapCamera camera;
    const Box area{100, 50, 800, 500};
    sf::Image whole;
    sf::Image close;
    for (const bool zoomed : {false, true}) {
        (zoomed ? close : whole) = screen(zoomed ? "photo_close" : "photo_whole", 1000, 600, 1.0, [&](Canvas& canvas) {
            sf::Texture texture;
            REQUIRE(texture.loadFromImage(photo));
            scene.picture = &texture;
            if (zoomed)
                camera.zoom(4.0, camera.to_px({100.0, 150.0}));
            else
                camera.fit(bounds_of(scene, double(kHigh) / kWide), area, 0.0);
            draw_map(canvas, scene, lay_out(scene, camera, measure_with(canvas), 1.0), camera);
            canvas.flush();
        });
        const auto& image = zoomed ? close : whole;
        // Nothing is drawn outside the area.
        CHECK(count_of(image, {0, 0, 1000, 48}, palette::kPaper) == 48 * 1000);
        CHECK(count_of(image, {0, 0, 98, 600}, palette::kPaper) == 98 * 600);
        // A line of the photo, 1.5 mm in, is where the camera says; a hand's width beside it is none.
        const auto line = camera.to_px({351.0, 220.0});
        if (area.inset(4.0).holds(line)) {
            CHECK(relative_luminance(colour_at(image, line)) < 0.2);
            CHECK(relative_luminance(colour_at(image, camera.to_px({375.0, 220.0}))) > 0.2);
        }
        const auto first = camera.to_px({151.0, 180.0});
        REQUIRE(area.inset(4.0).holds(first));
        CHECK(relative_luminance(colour_at(image, first)) < 0.2);
        CHECK(relative_luminance(colour_at(image, camera.to_px({175.0, 180.0}))) > 0.2);
    }
}
