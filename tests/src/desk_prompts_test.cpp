// When the desk asks for spray, and when it does not: an engine is played in the microphone's place, the test is the
// hands. Times are those of the recording.
#include "dsp/sim/engine_sound.hpp"
#include "src/live/voice.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/desk_support.hpp"
#include "tests/src/fake_output.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <chrono>
#include <map>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace std::chrono_literals;
using test::await;
using test::open_gate;
namespace ask = gui::ask;

namespace {

constexpr double kRate_hz = 16000.0;
constexpr double kPace = 6.0;
constexpr double kLate_s = 0.5;  // a view is as old as a reading: 0.1 s, and a look of the desk

sim::SpeedPathSpec calm(double duration_s) {
    sim::SpeedPathSpec path;
    path.duration_s = duration_s;
    path.hunting_rpm = 1.5;
    path.wander_rpm = 2.0;
    path.seed = 5;
    return path;
}

/// An engine on that path; silent from `silent_s` for twenty seconds, if that is given.
std::string played(const test::ScratchFolder& folder, const sim::SpeedPathSpec& path, double silent_s = 1e9) {
    sim::EngineSoundSpec spec;
    spec.engine.firing_order = {1, 3, 4, 2};
    spec.sample_rate_hz = kRate_hz;
    sim::EngineSound engine{spec, sim::SpeedPath{path}};
    auto sound = sim::render_seconds(engine, path.duration_s);
    for (std::size_t i = 0; i < sound.size(); ++i) {
        const double t = static_cast<double>(i) / kRate_hz;
        if (t >= silent_s && t < silent_s + 20.0) sound[i] = 0.0F;
    }
    auto file = folder.path("engine.wav");
    auto writer = SoundWriter::open(file, kRate_hz);
    REQUIRE(writer);
    REQUIRE(writer.value().write(sound));
    return file;
}

void begin(Desk& desk, int spots) {
    BayMap map;
    for (int i = 0; i < spots; ++i) {
        MapSpot spot;
        spot.spot = std::to_string(i + 1);
        spot.name = "gasket";
        spot.x_mm = 300.0 * i;
        spot.y_mm = 100.0;
        map.spots.push_back(spot);
    }
    desk.send(ask::SetMap{map});
    desk.send(ask::StartLive{});
    open_gate(desk);
    desk.send(ask::StartSpray{});
}

bool prompts(const gui::ViewState& v) { return v.spray.phase == gui::SprayPhase::prompt; }
bool paused_for(const gui::ViewState& v, gui::PauseReason why) {
    return v.spray.phase == gui::SprayPhase::paused && v.spray.pause == why;
}

}  // namespace

TEST_CASE("Desk: a prompt is withdrawn when the idle is not heard any more, and comes again when it is",
          "[src][desk]") {
    const test::ScratchFolder folder;
    const double silent_s = 50.0;
    // Every prompt is still being said when the next one comes.
    const auto said = std::make_shared<test::PlayedSounds>();
    std::map<std::vector<float>, std::string> texts;
    for (const char* text : {"Spot 1. Now.", "Spot 2. Now.", "Wait. Do not spray."}) texts[speak(text, 16000.0)] = text;
    const OpenOutput output = [said] {
        return std::unique_ptr<SoundOutput>{std::make_unique<test::FakeOutput>(said, 30ms)};
    };
    Desk desk{{.cases_folder = folder.path("cases"),
               .microphone = played(folder, calm(140.0), silent_s),
               .microphone_pace = kPace,
               .prompt_output = output}};
    begin(desk, 2);
    auto view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    REQUIRE(view->sound.now_s < silent_s);
    view = await(desk, 60s, [](const auto& v) { return paused_for(v, gui::PauseReason::lock_lost); });
    REQUIRE(paused_for(*view, gui::PauseReason::lock_lost));
    CHECK(view->sound.now_s > silent_s);
    CHECK(view->sound.now_s < silent_s + 12.0);  // lost is 5 s without a reading, which is a few seconds late itself
    CHECK(std::none_of(view->spots.begin(), view->spots.end(), [](const gui::SpotView& s) { return s.prompted; }));
    // A key means nothing while nothing is asked for and hands do not follow the prompt any more.
    const double withdrawn_s = view->sound.now_s;
    await(desk, 60s, [&](const auto& v) { return v.sound.now_s > withdrawn_s + 4.0; });
    desk.send(ask::Sprayed{});
    view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    CHECK(view->sound.now_s > silent_s + 20.0);
    CHECK(view->spray.bursts == 0);
    const auto spot = "Spot " + view->spray.spot + ". Now.";
    const auto end = std::chrono::steady_clock::now() + 10s;
    while (said->all().size() < 3 && std::chrono::steady_clock::now() < end) std::this_thread::sleep_for(10ms);
    std::vector<std::string> heard;
    for (const auto& sound : said->all()) heard.push_back(texts[sound]);
    CHECK(heard == std::vector<std::string>{spot, "Wait. Do not spray.", spot});
    CHECK(view->sound.recorded_s > silent_s + 20.0);  // the recording went on through it
}

TEST_CASE("Desk: nothing is asked for while the idle is not back where it was", "[src][desk]") {
    const test::ScratchFolder folder;
    auto path = calm(160.0);
    const double load_s = 66.0;
    path.loads.push_back({.time_s = load_s, .change_rpm = 60.0, .end_s = 85.0});
    Desk desk{{.cases_folder = folder.path("cases"), .microphone = played(folder, path), .microphone_pace = kPace}};
    begin(desk, 2);
    auto view = await(desk, 60s, [](const auto& v) { return prompts(v) && v.sound.now_s > 58.0; });
    REQUIRE(prompts(*view));
    REQUIRE(view->sound.now_s < load_s - 1.0);
    desk.send(ask::Sprayed{});
    view =
        await(desk, 60s, [](const auto& v) { return paused_for(v, gui::PauseReason::not_at_baseline) || prompts(v); });
    // The prompt itself may still be there for the moment that the key needs.
    if (prompts(*view) && view->spray.bursts == 0)
        view = await(desk, 60s, [](const auto& v) {
            return paused_for(v, gui::PauseReason::not_at_baseline) || (prompts(v) && v.spray.bursts > 0);
        });
    REQUIRE(paused_for(*view, gui::PauseReason::not_at_baseline));
    view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    CHECK(view->sound.now_s > 85.0);  // the load has gone
    CHECK(view->spray.bursts == 1);
}

TEST_CASE("Desk: a spot dries for half a minute before it is asked for again", "[src][desk]") {
    const test::ScratchFolder folder;
    Desk desk{
        {.cases_folder = folder.path("cases"), .microphone = played(folder, calm(200.0)), .microphone_pace = kPace}};
    desk.send(ask::SetMatters{2.0});  // one burst rules out no change as small as that: it is asked for again
    begin(desk, 1);                   // one spot: nothing else to do meanwhile
    auto view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    desk.send(ask::Sprayed{});
    view = await(desk, 60s, [](const auto& v) { return !v.bursts.empty(); });
    REQUIRE(view->bursts.size() == 1);
    const double sprayed_s = view->bursts.front().time_s;
    view = await(desk, 60s,
                 [](const auto& v) { return v.spray.phase == gui::SprayPhase::drying && v.spray.wait_s > 0.0; });
    REQUIRE(view->spray.phase == gui::SprayPhase::drying);
    CHECK(view->spray.wait_s <= 30.0);
    view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    CHECK(view->sound.now_s >= sprayed_s + 30.0 - kLate_s);
}

TEST_CASE("Desk: whether neighbours are misted together is chosen before the first burst, and holds for the visit",
          "[src][desk]") {
    const test::ScratchFolder folder;
    Desk desk{{.cases_folder = folder.path("cases"), .practice_spots = 4}};
    CHECK_FALSE(desk.view()->spray.together);  // a choice, not the usual way
    desk.send(ask::StartPractice{3, 20.0});
    auto view = await(desk, 60s, [](const auto& v) { return v.sound.running; });
    REQUIRE(view->sound.running);
    desk.send(ask::SetPasses{true});
    open_gate(desk);
    desk.send(ask::StartSpray{});
    view = await(desk, 60s, prompts);
    REQUIRE(prompts(*view));
    CHECK(view->spray.together);
    CHECK(view->spray.spots == std::vector{view->spray.spot});  // in the first round every spot has a burst of its own
    desk.send(ask::Sprayed{});
    view = await(desk, 20s, [](const auto& v) { return !v.bursts.empty(); });
    REQUIRE(view->bursts.size() == 1);
    desk.send(ask::SetPasses{false});
    desk.send(ask::Stop{});
    view = await(desk, 60s, [](const auto& v) { return !v.sound.running; });
    CHECK(view->spray.together);
}
