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
