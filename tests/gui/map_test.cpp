#include "dsp/sim/session.hpp"
#include "gui/map/label_layout.hpp"
#include "gui/map/map_camera.hpp"
#include "gui/map/map_editor.hpp"
#include "gui/map/map_scene.hpp"
#include "gui/map/schematic.hpp"

#include <random>
#include <set>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace idlehark::gui;

namespace {

/// Wide letters, so that real fonts need less room.
const TextMeasure kMeasure = [](std::string_view words, double size, bool bold) {
    return static_cast<double>(words.size()) * size * (bold ? 0.70 : 0.62);
};
TextMeasure measure_at(double scale) {
    return [scale](std::string_view words, double size, bool bold) { return scale * kMeasure(words, size, bold); };
}

Engine engine_with(int cylinders, bool vee) {
    Engine e;
    e.cylinders = cylinders;
    if (vee) {
        e.banks.resize(2);
        for (int c = 1; c <= cylinders; ++c) e.banks[c > (cylinders + 1) / 2 ? 1 : 0].push_back(c);
    } else {
        e.banks.resize(1);
        for (int c = 1; c <= cylinders; ++c) e.banks[0].push_back(c);
    }
    return e;
}

MapScene scene_of(const Schematic& s) {
    MapScene scene{.schematic = &s};
    for (std::size_t i = 0; i < s.spots.size(); ++i) {
        const auto& spot = s.spots[i];
        const auto f = static_cast<Finding>(i % 4);
        scene.spots.push_back({.spot = spot.spot,
                               .name = spot.name,
                               .at_mm = {spot.x_mm, spot.y_mm},
                               .finding = f,
                               .verdict = f == Finding::open ? "undecided" : "none seen",
                               .value = 3.0,
                               .low = -4.0,
                               .high = 10.0,
                               .bursts = 3});
    }
    return scene;
}

void check_no_overlap(const MapLayout& layout, const Box& area) {
    std::vector<Box> plates;
    for (const auto& p : layout.plates) {
        if (!area.holds(p.joint)) continue;
        CHECK(area.holds(p.box));
        plates.push_back(p.box);
    }
    CHECK(settled(plates));
    for (std::size_t i = 0; i < layout.plates.size(); ++i) {
        const auto& label = layout.plates[i].label;
        if (!label) continue;
        CHECK(area.holds(*label));
        CHECK(shared_area(*label, layout.plates[i].box) == 0.0);
        if (layout.next && layout.form == LabelForm::none) continue;  // there the next spot's may cover others
        for (const auto& p : plates) CHECK(shared_area(*label, p) == 0.0);
        for (std::size_t k = i + 1; k < layout.plates.size(); ++k)
            if (layout.plates[k].label) CHECK(shared_area(*label, *layout.plates[k].label) == 0.0);
    }
}

}  // namespace

TEST_CASE("Schematic: every engine from 1 to 12 cylinders, in line and in two banks", "[gui][map]") {
    const int cylinders = GENERATE(range(1, 13));
    const bool vee = GENERATE(false, true);
    if (vee && cylinders < 2) return;
    CAPTURE(cylinders, vee);
    const auto s = draw_schematic(engine_with(cylinders, vee));
    std::multiset<int> gaskets;
    std::multiset<int> seals;
    std::set<std::string> ids;
    std::set<SpotKind> kinds;
    for (const auto& spot : s.spots) {
        CHECK(ids.insert(spot.spot).second);
        CHECK_FALSE(spot.name.empty());
        CHECK(s.bounds_mm.holds(Point{spot.x_mm, spot.y_mm}));
        kinds.insert(spot.kind);
        if (spot.kind == SpotKind::gasket && spot.cylinder) gaskets.insert(*spot.cylinder);
        if (spot.kind == SpotKind::injector_seal) seals.insert(spot.cylinder.value());
        for (const auto& other : s.spots)  // two joints are never one place
            if (&other != &spot) CHECK(std::hypot(other.x_mm - spot.x_mm, other.y_mm - spot.y_mm) >= 25.0);
    }
    for (int c = 1; c <= cylinders; ++c) {
        CHECK(gaskets.count(c) == 1);
        CHECK(seals.count(c) == 1);
    }
    CHECK(gaskets.size() == static_cast<std::size_t>(cylinders));
    for (const auto kind : {SpotKind::throttle, SpotKind::brake_servo, SpotKind::breather, SpotKind::valve,
                            SpotKind::sensor, SpotKind::hose})
        CHECK(kinds.count(kind) == 1);
    int heads = 0;
    for (const auto& part : s.parts) {
        heads += part.kind == PartKind::head ? 1 : 0;
        CHECK(part.outline.size() >= (part.pipe_mm > 0.0 ? 2u : 3u));
        for (const auto& p : part.outline) CHECK(s.bounds_mm.holds(p));
    }
    CHECK(heads == (vee ? 2 : 1));
}

TEST_CASE("Schematic: cylinders stand in their bank in the order stated", "[gui][map]") {
    Engine e = engine_with(6, true);
    e.banks = {{1, 3, 5}, {2, 4, 6}};
    const auto s = draw_schematic(e);
    const auto x_of = [&](int cylinder) {
        for (const auto& spot : s.spots)
            if (spot.kind == SpotKind::gasket && spot.cylinder == cylinder) return spot;
        return MapSpot{};
    };
    CHECK(x_of(1).y_mm == x_of(5).y_mm);
    CHECK(x_of(2).y_mm == x_of(6).y_mm);
    CHECK(x_of(2).y_mm > x_of(1).y_mm + 200.0);
    CHECK(x_of(1).x_mm < x_of(3).x_mm);
    CHECK(x_of(3).x_mm < x_of(5).x_mm);
}

TEST_CASE("Schematic: lies under a practice bay's own spots, and under a map measured from elsewhere", "[gui][map]") {
    const int cylinders = GENERATE(3, 4, 6, 8);
    Engine e = engine_with(cylinders, false);
    e.banks.clear();  // not stated: the map tells the rows (eight would be drawn in two otherwise)
    const auto s = draw_schematic(engine_with(cylinders, false));
    BayMap map;
    for (const auto& b : sim::draw_bay(e, 2 * cylinders + 4, 11))
        map.spots.push_back({.spot = b.id,
                             .name = b.name,
                             .kind = b.kind == "gasket" ? SpotKind::gasket : SpotKind::injector_seal,
                             .x_mm = b.x_mm,
                             .y_mm = b.y_mm,
                             .cylinder = b.cylinder});
    const auto fits = [&](const Schematic& drawn) {
        for (const auto& mine : map.spots)
            for (const auto& spot : drawn.spots)
                if (mine.cylinder && spot.cylinder == mine.cylinder && spot.kind == mine.kind)
                    if (std::hypot(spot.x_mm - mine.x_mm, spot.y_mm - mine.y_mm) > 1e-6) return false;
        return true;
    };
    CHECK(fits(s));
    CHECK(fits(schematic_for(e, map)));
    // From the other corner, half as far apart, upside down.
    for (auto& spot : map.spots) {
        spot.x_mm = 500.0 - 0.5 * spot.x_mm;
        spot.y_mm = 900.0 - 0.8 * spot.y_mm;
    }
    CHECK_FALSE(fits(s));
    const auto fitted = schematic_for(e, map);
    CHECK(fits(fitted));
    for (const auto& part : fitted.parts)
        for (const auto& p : part.outline) CHECK(fitted.bounds_mm.inset(-1.0).holds(p));
    // Spots that are nowhere near such an engine: left as it is.
    std::mt19937 random{3};
    for (auto& spot : map.spots) {
        spot.x_mm = std::uniform_real_distribution<>{0.0, 1000.0}(random);
        spot.y_mm = std::uniform_real_distribution<>{0.0, 1000.0}(random);
    }
    CHECK(schematic_for(e, map).bounds_mm == draw_schematic(e).bounds_mm);
}

TEST_CASE("Schematic: a cylinder's place is the map's own, else the drawing's, and none on a photo that has none",
          "[gui][map]") {
    Engine e;
    e.cylinders = 4;
    e.firing_order = {1, 3, 4, 2};
    const auto drawing = draw_schematic(e);
    BayMap map;
    for (int c = 1; c <= 4; ++c)
        for (const bool injector : {true, false}) {
            const auto at = cylinder_place(drawing, map, injector, c);
            REQUIRE(at);
            CHECK(drawing.bounds_mm.holds(*at));
            if (c > 1) CHECK(at->x > cylinder_place(drawing, map, injector, c - 1)->x);
        }
    CHECK_FALSE(cylinder_place(drawing, map, true, 5));
    map.picture = "bay.jpg";
    CHECK_FALSE(cylinder_place(drawing, map, true, 2));
    map.spots = {{"4", "", SpotKind::injector_seal, 310.0, 120.0, 2}};
    REQUIRE(cylinder_place(drawing, map, true, 2));
    CHECK(cylinder_place(drawing, map, true, 2)->x == 310.0);
}

TEST_CASE("Map layout: nothing overlaps, from 800 x 600 to 4K, at any scale, for any engine", "[gui][map]") {
    const int cylinders = GENERATE(1, 4, 6, 8, 12);
    const bool vee = GENERATE(false, true);
    struct Screen {
        double w, h, scale;
    };
    const auto screen = GENERATE(values<Screen>({{800, 600, 1.0},
                                                 {1280, 800, 1.0},
                                                 {1280, 800, 1.5},
                                                 {1920, 1080, 1.0},
                                                 {1920, 1080, 2.0},
                                                 {3840, 2160, 2.0},
                                                 {3840, 2160, 3.0}}));
    if (vee && cylinders < 2) return;
    CAPTURE(cylinders, vee, screen.w, screen.h, screen.scale);
    const auto s = draw_schematic(engine_with(cylinders, vee));
    auto scene = scene_of(s);
    scene.next = "3";
    scene.next_word = "SPRAY HERE";
    MapCamera camera;
    // The map has what is left beside the bar above and the panel on the right.
    const Box area{0, 100 * screen.scale, screen.w - 230 * screen.scale, screen.h - 150 * screen.scale};
    camera.fit(bounds_of(scene, 0.0), area, 24.0 * screen.scale);
    const auto layout = lay_out(scene, camera, measure_at(screen.scale), screen.scale);
    REQUIRE(layout.plates.size() == s.spots.size());
    check_no_overlap(layout, area);
    CHECK(layout.next.value() < s.spots.size());
    // Every spot's number is there, and near its joint.
    for (const auto& p : layout.plates) CHECK(distance(p.box.middle(), p.joint) < 160.0 * screen.scale);
    // The usual engine shows all it knows on the usual screen.
    if (cylinders == 4 && screen.w >= 1280 * screen.scale) CHECK(layout.form == LabelForm::whole);
    CHECK(layout.plates[*layout.next].label);
}

TEST_CASE("Map layout: the same scene gives the same places; spots outside the view have none", "[gui][map]") {
    const auto s = draw_schematic(engine_with(4, false));
    const auto scene = scene_of(s);
    MapCamera camera;
    camera.fit(bounds_of(scene, 0.0), {0, 0, 900, 600}, 20.0);
    const auto once = lay_out(scene, camera, kMeasure, 1.0);
    const auto again = lay_out(scene, camera, kMeasure, 1.0);
    for (std::size_t i = 0; i < once.plates.size(); ++i) {
        CHECK(once.plates[i].box == again.plates[i].box);
        CHECK(once.plates[i].label == again.plates[i].label);
    }
    camera.zoom(8.0, camera.to_px({120.0, 180.0}));
    const auto close = lay_out(scene, camera, kMeasure, 1.0);
    check_no_overlap(close, camera.area());
    int outside = 0;
    for (const auto& p : close.plates)
        if (!camera.area().holds(p.joint)) {
            ++outside;
            CHECK_FALSE(p.label);
        }
    CHECK(outside > 8);
}

TEST_CASE("Label layout: a heap of spots is pulled apart, an impossible one is not made worse", "[gui][map]") {
    const unsigned seed = GENERATE(1u, 2u, 3u, 4u, 5u);
    std::mt19937 random{seed};
    std::normal_distribution<double> heap{300.0, 25.0};
    std::vector<Box> boxes;
    boxes.reserve(30);
    for (int i = 0; i < 30; ++i) boxes.push_back({heap(random), heap(random), 34, 30});
    const Box area{0, 0, 640, 640};
    const auto apart = spread(boxes, area, 3.0);
    CHECK(settled(apart));
    for (const auto& b : apart) CHECK(area.inset(-1e-6).holds(b));
    CHECK_FALSE(settled(spread(boxes, {0, 0, 100, 100}, 3.0)));  // 30 plates have no room there
    const std::vector<Box> same(3, Box{50, 50, 34, 30});
    CHECK(settled(spread(same, area, 3.0)));
}

TEST_CASE("Map: a pointer finds the nearest spot within a finger's width", "[gui][map]") {
    const auto s = draw_schematic(engine_with(4, false));
    const auto scene = scene_of(s);
    MapCamera camera;
    camera.fit(bounds_of(scene, 0.0), {0, 0, 1200, 800}, 20.0);
    const auto layout = lay_out(scene, camera, kMeasure, 1.0);
    for (std::size_t i = 0; i < layout.plates.size(); ++i)
        CHECK(spot_at(layout, layout.plates[i].box.middle(), 1.0) == i);
    CHECK_FALSE(spot_at(layout, {1190, 10}, 1.0));
}

TEST_CASE("Map camera: there and back, zoom holds the place under the pointer, the bay never gets lost", "[gui][map]") {
    MapCamera camera;
    camera.fit({-50, 20, 600, 400}, {100, 50, 900, 700}, 30.0);
    CHECK(camera.whole());
    const Point mm{123.0, 321.0};
    const auto there = camera.to_px(mm);
    CHECK(distance(camera.to_mm(there), mm) < 1e-9);
    camera.zoom(3.0, there);
    CHECK(distance(camera.to_px(mm), there) < 1e-9);
    camera.pan({40.0, -25.0});
    CHECK(distance(camera.to_px(mm), there + Point{40.0, -25.0}) < 1e-9);
    camera.pan({1e6, 1e6});
    const auto corner = camera.to_px({-50, 20});
    CHECK(camera.area().inset(-1.0).holds(corner));
    const double before = camera.px_per_mm();
    camera.set_area({0, 0, 450, 350});
    CHECK(camera.px_per_mm() == Approx(before * 0.5).epsilon(0.1));
    camera.zoom(1e-9, {10, 10});
    CHECK(camera.whole());
}

TEST_CASE("Map editor: every change can be taken back and made again", "[gui][map]") {
    BayMap start;
    start.name = "bay";
    start.spots = draw_schematic(engine_with(4, false)).spots;
    MapEditor editor{start, 4};
    CHECK_FALSE(editor.changed());
    std::vector<BayMap> states{editor.map()};
    std::string id;
    const auto done = [&](const std::string& fault) {
        CHECK(fault.empty());
        states.push_back(editor.map());
    };
    done(editor.place(10.4, 20.6, SpotKind::hose, id));
    CHECK(id == std::to_string(start.spots.size() + 1));
    CHECK(editor.map().find(id)->x_mm == 10.0);
    done(editor.rename(id, "  purge hose "));
    CHECK(editor.map().find(id)->name == "purge hose");
    done(editor.renumber(id, "7b"));
    done(editor.set_kind("7b", SpotKind::valve));
    done(editor.set_cylinder("7b", 3));
    editor.begin_drag("7b");
    for (int i = 0; i < 50; ++i) editor.drag_to(i, 2.0 * i);
    editor.end_drag();
    done("");
    CHECK(editor.map().find("7b")->y_mm == 98.0);
    done(editor.set_picture("bay.jpg", 640.0));
    done(editor.remove("2"));
    done(editor.place(1, 1, SpotKind::gasket, id));
    CHECK(id == "2");  // the lowest free number
    CHECK(editor.changed());
    for (std::size_t i = states.size() - 1; i-- > 0;) {
        REQUIRE(editor.can_undo());
        editor.undo();
        CHECK(editor.map() == states[i]);
    }
    CHECK_FALSE(editor.can_undo());
    CHECK_FALSE(editor.changed());
    for (std::size_t i = 1; i < states.size(); ++i) {
        editor.redo();
        CHECK(editor.map() == states[i]);
    }
    CHECK_FALSE(editor.can_redo());
    editor.undo();
    CHECK(editor.rename("1", "x").empty());
    CHECK_FALSE(editor.can_redo());  // another way was taken
}

TEST_CASE("Map editor: what it refuses changes nothing, and says why", "[gui][map]") {
    BayMap two;
    two.spots.resize(2);
    two.spots[0].spot = "1";
    two.spots[1].spot = "2";
    MapEditor editor{two, 4};
    const auto before = editor.map();
    CHECK(editor.renumber("1", "2") == "There is a spot 2 already.");
    CHECK(editor.renumber("1", "  ") == "A spot needs a number or a short text.");
    CHECK(editor.renumber("1", "a,b") == "A spot's number holds no comma, semicolon or quote.");
    CHECK(editor.renumber("1", "123456789") == "\"123456789\" is longer than 8 characters.");
    CHECK(editor.rename("9", "x") == "There is no spot 9.");
    CHECK(editor.remove("9") == "There is no spot 9.");
    CHECK(editor.set_cylinder("1", 5) == "Cylinder 5 is not in 1..4.");
    CHECK_FALSE(editor.set_picture("x.png", 0.0).empty());
    CHECK(editor.map() == before);
    CHECK_FALSE(editor.can_undo());
    editor.begin_drag("9");
    editor.drag_to(1, 1);
    editor.end_drag();
    CHECK(editor.map() == before);
    CHECK(editor.renumber("1", "1").empty());  // nothing to do is not a change
    CHECK_FALSE(editor.can_undo());
    std::string id;
    while (editor.map().spots.size() < MapEditor::kMostSpots) REQUIRE(editor.place(0, 0, SpotKind::other, id).empty());
    CHECK(editor.place(0, 0, SpotKind::other, id) == "A map holds at most 200 spots.");
}
