// Run by tests/device.sh with a sound server of its own: IDLEHARK_UNPLUG is the command that takes the microphone away.
#include "src/desk/desk.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/desk_support.hpp"
#include "tests/src/support.hpp"

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <thread>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace std::chrono_literals;
using test::await;
using test::open_gate;
namespace ask = gui::ask;

TEST_CASE("Desk: a microphone unplugged in the middle of a spray test is told, and nothing is lost", "[.][device]") {
    const char* unplug = std::getenv("IDLEHARK_UNPLUG");
    REQUIRE(unplug != nullptr);
    const test::ScratchFolder folder;

    const auto engine = read_engine(test::recordings_path("engine.json"));
    REQUIRE(engine);
    const auto map = read_map(test::recordings_path("map.json"), 4);
    REQUIRE(map);
    Desk desk{{.cases_folder = folder.path("cases")}};
    desk.send(ask::SetEngine{engine.value().engine});
    desk.send(ask::SetMap{map.value().map});
    desk.send(ask::StartLive{"pulse"});
    auto view = await(desk, 20s, [](const auto& v) { return v.sound.running || v.fault; });
    if (view->fault) FAIL(view->fault->what);
    open_gate(desk);
    desk.send(ask::SetPrompts{gui::Prompts::off});
    desk.send(ask::StartSpray{});
    view = await(desk, 90s, [](const auto& v) { return v.spray.phase == gui::SprayPhase::prompt; });
    REQUIRE(view->spray.phase == gui::SprayPhase::prompt);
    const auto spot = view->spray.spot;
    desk.send(ask::Sprayed{});
    view = await(desk, 10s, [](const auto& v) { return !v.bursts.empty(); });
    REQUIRE_FALSE(view->bursts.empty());
    const double before_s = view->sound.recorded_s;

    REQUIRE(std::system(unplug) == 0);
    view = await(desk, 30s, [](const auto& v) { return !v.sound.running; });
    CHECK_FALSE(view->sound.running);
    CHECK_FALSE(view->sound.recording);
    REQUIRE(view->fault);
    CHECK(view->fault->what.find("no more sound") != std::string::npos);
    CHECK_FALSE(view->fault->hint.empty());
    CHECK(view->spray.phase != gui::SprayPhase::prompt);

    const auto sound = view->case_folder + "/audio/bay.flac";
    const auto file = SoundFile::open(sound, 1);
    REQUIRE(file);
    const auto& info = file.value().info();
    CHECK(static_cast<double>(info.frames) / info.sample_rate_hz >= before_s - 0.5);
    const auto marks = read_marks(view->case_folder + "/audio/bay.marks.csv");
    REQUIRE(marks);
    REQUIRE(marks.value().marks.size() == 1);
    CHECK(marks.value().marks[0].spot == spot);
    // Another start is another visit: asked again.
    desk.send(ask::CloseFault{view->fault->number});
    desk.send(ask::StartSpray{});
    view = await(desk, 10s, [](const auto& v) { return v.fault.has_value(); });
    CHECK(view->fault);
    CHECK(view->spray.phase != gui::SprayPhase::prompt);
}
