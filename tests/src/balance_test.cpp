#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/speed_path.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/desk_support.hpp"
#include "tests/src/refused.hpp"
#include "tests/src/support.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sndfile.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

/// Two channels: a four-cylinder idle whose third firing is at half strength, and a pulse with each spark of the first.
const std::string& recording() {
    static const ScratchFolder folder;
    static const std::string path = [] {
        sim::EngineSoundSpec spec;
        spec.engine.cylinders = 4;
        spec.sample_rate_hz = 16000.0;
        spec.seed = 77;
        spec.cylinder_strengths = {1.0, 1.0, 0.5, 1.0};
        const sim::SpeedPath speed(std::vector<double>(300, 840.0));
        sim::EngineSound engine(spec, speed);
        const auto x = sim::render_seconds(engine, 20.0);
        std::vector<float> both(2 * x.size(), 0.0F);
        for (std::size_t i = 0; i < x.size(); ++i) both[2 * i] = x[i];
        for (double c = 1.0; c < 139.0; c += 1.0)
            both[2 * static_cast<std::size_t>((c - 10.0 / 720.0) * 120.0 / 840.0 * 16000.0) + 1] = 0.7F;
        SF_INFO info{};
        info.samplerate = 16000;
        info.channels = 2;
        info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
        SNDFILE* file = sf_open(folder.path("idle.wav").c_str(), SFM_WRITE, &info);
        sf_writef_float(file, both.data(), static_cast<sf_count_t>(x.size()));
        sf_close(file);
        return folder.path("idle.wav");
    }();
    return path;
}

const std::string kFour = " --cylinders 4 --idle-rpm 700:1000";

}  // namespace

TEST_CASE("balance: letters without a reference, cylinder numbers with one", "[src][cli]") {
    const auto letters = run_idlehark("balance " + recording() + kFour);
    CHECK(letters.code == 0);
    CHECK_THAT(letters.out, Contains("Firing ") && Contains(" is weak") && Contains("letters instead of cylinder"));
    CHECK_THAT(letters.out, Contains("caution: keep hands"));

    const ScratchFolder folder;
    const auto engine = folder.file("e.json", R"({"cylinders":4,"firing_order":[1,3,4,2],"idle_rpm":[700,1000]})");
    const auto ran =
        run_idlehark("balance " + recording() + " --engine " + engine +
                     " --reference-channel 2 --reference-cylinder 3 --format json --plot " + folder.path("b.png"));
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK(json.at("named") == true);
    CHECK(json.at("rpm").get<double>() == Approx(840.0).margin(3.0));
    // The pulse is cylinder 3's, so the firings from there are 3, 4, 2, 1: the weak third one is 2.
    CHECK(json.at("cylinders").at(0).at("cylinder") == 3);
    CHECK(json.at("cylinders").at(2).at("cylinder") == 2);
    for (const auto& c : json.at("cylinders")) CHECK((c.at("verdict") == "weak") == (c.at("cylinder") == 2));
    CHECK(json.at("cylinders").at(2).at("at_tail_pipe") == std::vector{4});
    CHECK(json.at("summary") == "Cylinder 2 (at the tail pipe: 4) is weak");
    CHECK(test::slurp(folder.path("b.png")).substr(1, 3) == "PNG");
    CHECK(run_idlehark("balance " + recording() + kFour + " --plot " + folder.path("b.svg")).code == 0);
    CHECK_THAT(test::slurp(folder.path("b.svg")), Contains("<svg"));
}

TEST_CASE("Desk: a pick-up on the second channel names the cylinders on the balance page", "[src][desk]") {
    const ScratchFolder folder;
    Desk desk{{.cases_folder = folder.path("cases")}};
    Engine engine;
    engine.firing_order = {1, 3, 4, 2};
    engine.idle_low_rpm = 700.0;
    engine.idle_high_rpm = 1000.0;
    desk.send(gui::ask::SetEngine{engine});
    const auto measured = [&](int pick_up_cylinder, bool named) {
        desk.send(gui::ask::IdleFile{recording(), pick_up_cylinder});
        return test::await(desk, std::chrono::seconds{120}, [&](const gui::ViewState& v) {
            return (!v.balance.cylinders.empty() && v.balance.named == named && !v.job.running) || v.fault;
        });
    };
    auto view = measured(3, true);
    if (view->fault) FAIL(view->fault->what);
    REQUIRE(view->balance.named);
    REQUIRE(view->balance.cylinders.size() == 4);
    for (const auto& c : view->balance.cylinders) {
        CHECK((c.verdict == CylinderVerdict::weak) == (c.name == "2"));
        if (c.name == "2") CHECK(c.at_tail_pipe == std::vector{4});  // the one before it in the firing order
    }
    REQUIRE(view->balance.cautions.size() == 1);
    CHECK_THAT(view->balance.cautions.front(), Contains("the cylinder in brackets is meant"));
    // What is stored is made again from the recording and its settings.
    const auto check = run_idlehark("case check " + view->case_folder);
    INFO(check.out + check.err);
    CHECK(check.code == 0);
    view = measured(0, false);
    if (view->fault) FAIL(view->fault->what);
    CHECK_FALSE(view->balance.named);
    CHECK(view->balance.cylinders.front().name == "A");
}

TEST_CASE("balance: wrong use and bad input exit 2, sound without an answer 1", "[src][cli]") {
    const ScratchFolder folder;
    for (const auto& [arguments, message] : std::vector<std::pair<std::string, std::string>>{
             {"balance", "FILE"},
             {"balance " + recording(), "which engine?"},
             {"balance " + folder.path("none.wav") + kFour, "No such file"},
             {"balance " + folder.file("x.wav", "not sound") + kFour, "x.wav"},
             {"balance " + recording() + kFour + " --reference-channel 3", "channel"},
             {"balance " + recording() + kFour + " --reference-channel 1", "is the channel that is listened to"},
             {"balance " + recording() + kFour + " --reference-channel 2 --reference-cylinder 5", "5 is not in 1..4"},
             {"balance " + recording() + kFour + " --format xml", "format"},
             {"balance " + recording() + kFour + " --plot b.gif", "a picture is written as .png or .svg"}}) {
        test::check_refused(arguments, 2, message);
    }
    auto writer = SoundWriter::open(folder.path("silent.wav"), 16000.0);
    REQUIRE(writer);
    REQUIRE(writer.value().write(std::vector<float>(320000, 0.0F)));
    test::check_refused("balance " + folder.path("silent.wav") + kFour, 1, "is silent");
}
