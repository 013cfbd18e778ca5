#include "src/recording/sound_file.hpp"
#include "tests/hiss_spots.hpp"
#include "tests/src/refused.hpp"
#include "tests/src/support.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

/// Five spots as files; the third leaks.
const std::string& survey() {
    static const ScratchFolder folder;
    static const std::string arguments = [] {
        Engine engine;
        engine.cylinders = 4;
        engine.idle_low_rpm = 700.0;
        engine.idle_high_rpm = 950.0;
        std::string text;
        for (int i = 1; i <= 5; ++i) {
            test::ProbeSpot spot;
            if (i == 3) spot.leak_db = 10.0;
            spot.gain_db = i == 2 ? -6.0 : 0.0;
            auto writer = SoundWriter::open(folder.path("s" + std::to_string(i) + ".wav"), 32000.0);
            const auto x = test::probe_sound(spot, engine, 31, 40U + static_cast<unsigned>(i), 32000.0, 8.0);
            if (!writer || !writer.value().write(x)) throw std::runtime_error("cannot write");
            text += " " + std::to_string(i) + "=" + folder.path("s" + std::to_string(i) + ".wav");
        }
        return text;
    }();
    return arguments;
}
const std::string kFour = " --cylinders 4 --idle-rpm 700:950";

}  // namespace

TEST_CASE("hiss: ranks the spots, the leak first, as text, JSON and picture", "[src][cli]") {
    const ScratchFolder folder;
    const auto text = run_idlehark("hiss" + survey() + kFour + " --plot " + folder.path("h.svg"));
    CHECK(text.code == 0);
    CHECK_THAT(text.out, Contains("Hiss stands out at 3") && Contains("caution: keep hands") && Contains("p follow"));
    CHECK_THAT(test::slurp(folder.path("h.svg")), Contains("<svg"));
    const auto ran =
        run_idlehark("hiss" + survey() + kFour + " --gain-db 2=-6 --format json --plot " + folder.path("h.png"));
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK(json.at("gain_from") == "declared");
    REQUIRE(json.at("spots").size() == 5);
    CHECK(json.at("spots").at(0).at("spot") == "3");
    for (const auto& s : json.at("spots")) CHECK((s.at("verdict") == "stands out") == (s.at("spot") == "3"));
    CHECK(test::slurp(folder.path("h.png")).substr(1, 3) == "PNG");
}

TEST_CASE("hiss: where nothing stands out it says how far that reaches, and without a floor that there is none",
          "[src][cli]") {
    std::string quiet, few;
    for (const char* spot : {"1", "2", "4", "5"}) {
        const auto at = survey().find(" " + std::string(spot) + "=");
        const auto one = survey().substr(at, survey().find(' ', at + 1) - at);
        quiet += one;
        if (*spot != '5') few += one;
    }
    CHECK_THAT(run_idlehark("hiss" + quiet + kFour).out,
               Contains("No spot stands out") && Contains("no all-clear: a leak that makes its spot less than"));
    CHECK_THAT(run_idlehark("hiss" + few + kFour).out,
               Contains("Too few spots can be compared") && !Contains("No spot stands out") && !Contains("all-clear"));
}

TEST_CASE("hiss: wrong use and bad input exit 2, silence 1", "[src][cli]") {
    const ScratchFolder folder;
    for (const auto& [arguments, message] : std::vector<std::pair<std::string, std::string>>{
             {"hiss", "SPOT=FILE"},
             {"hiss 3" + kFour, "\"3\" is not SPOT=FILE"},
             {"hiss" + survey(), "which engine?"},
             {"hiss" + survey() + " 3=again.wav" + kFour, "spot \"3\" is given twice"},
             {"hiss" + survey() + " 9=" + folder.path("none.wav") + kFour, "No such file"},
             {"hiss" + survey() + kFour + " --gain-db 7=3", "no recording of spot \"7\""},
             {"hiss" + survey() + kFour + " --gain-db 3=loud", "is not SPOT=DB"},
             {"hiss" + survey() + kFour + " --gain loud", "gain"},
             {"hiss" + survey() + kFour + " --plot h.gif", "a picture is written as .png or .svg"}}) {
        test::check_refused(arguments, 2, message);
    }
    auto writer = SoundWriter::open(folder.path("silent.wav"), 16000.0);
    REQUIRE(writer);
    REQUIRE(writer.value().write(std::vector<float>(160000, 0.0F)));
    test::check_refused("hiss 1=" + folder.path("silent.wav") + kFour, 1, "silent");
}
