#include "dsp/sim/injector_probe.hpp"
#include "src/files/engine_file.hpp"
#include "src/recording/sound_file.hpp"
#include "src/report/injector_picture.hpp"
#include "tests/engine_in_noise.hpp"
#include "tests/src/refused.hpp"
#include "tests/src/support.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

constexpr double kRate_hz = 24000.0;

void write(const std::string& path, const std::vector<float>& samples) {
    auto writer = SoundWriter::open(path, kRate_hz);
    REQUIRE(writer);
    REQUIRE(writer.value().write(samples));
}

/// Four recordings, the third of a silent injector, and their engine; written once.
const ScratchFolder& bench() {
    static const ScratchFolder folder;
    static const bool made = [] {
        sim::InjectorProbeSpec spec;
        spec.engine.name = "Tarn 1400";
        spec.engine.firing_order = {1, 3, 4, 2};
        spec.sample_rate_hz = kRate_hz;
        spec.seed = 21;
        spec.snr_db = 12.0;
        spec.recording_spread_db = 0.5;
        spec.health.resize(4);
        spec.health[2].level = 0.0;
        REQUIRE(write_engine(folder.path("engine.json"), spec.engine));
        for (int c = 1; c <= 4; ++c) {
            spec.cylinder = c;
            sim::SpeedPathSpec path;
            path.duration_s = 10.5;
            path.mean_rpm = 830.0;
            path.hunting_rpm = 5.0;
            path.seed = static_cast<std::uint64_t>(c);
            write(folder.path("p" + std::to_string(c) + ".wav"),
                  sim::record_injector(spec, sim::SpeedPath{path}).samples);
        }
        return true;
    }();
    REQUIRE(made);
    return folder;
}

std::string command(const std::string& rest) {
    return "injectors --engine " + bench().path("engine.json") + " " + rest;
}
std::string all_four() {
    std::string text;
    for (int c = 1; c <= 4; ++c) text += std::to_string(c) + "=" + bench().path("p" + std::to_string(c) + ".wav") + " ";
    return text;
}

}  // namespace

TEST_CASE("Command injectors: JSON with every figure, text with cautions, and a picture", "[src][cli][injectors]") {
    const ScratchFolder out;
    const auto ran = run_idlehark(command(all_four() + "--format json --plot " + out.path("clicks.png")));
    CAPTURE(ran.err);
    REQUIRE(ran.code == 0);
    const auto json = nlohmann::json::parse(ran.out);
    CHECK(json["rpm"].get<double>() == Approx(830.0).epsilon(0.01));
    REQUIRE(json["injectors"].size() == 4);
    for (std::size_t i = 0; i < 4; ++i) {
        const auto& row = json["injectors"][i];
        CAPTURE(row);
        CHECK(row["cylinder"] == static_cast<int>(i) + 1);
        CHECK(row["verdict"] == (i == 2 ? "silent" : "regular"));
        CHECK(row["expected_hz"].get<double>() == Approx(6.92).epsilon(0.02));
        CHECK(row["missed_percent"].get<double>() == (i == 2 ? 100.0 : 0.0));
    }
    CHECK(json["injectors"][0]["open_close_ms"].get<double>() == Approx(2.8).margin(0.15));
    CHECK_FALSE(json["cautions"].empty());
    CHECK_THAT(test::slurp(out.path("clicks.png")), StartsWith("\x89PNG"));

    const auto text = run_idlehark(command(all_four() + "--plot " + out.path("clicks.svg")));
    CHECK(text.code == 0);
    CHECK_THAT(text.out, StartsWith("Injectors: 3 silent") && Contains("belts and fans") && Contains("closing lag"));
    CHECK_THAT(test::slurp(out.path("clicks.svg")), Contains("<svg"));
}

TEST_CASE("Command injectors: one recording is judged with a note that it stands alone", "[src][cli][injectors]") {
    const auto ran = run_idlehark(command("1=" + bench().path("p1.wav")));
    CHECK(ran.code == 0);
    CHECK_THAT(ran.out, Contains("one recording only"));
}

TEST_CASE("Command injectors: wrong use and bad input exit 2 with the reason", "[src][cli][injectors]") {
    const ScratchFolder folder;
    const auto p1 = bench().path("p1.wav");
    const std::vector<std::pair<std::string, std::string>> cases{
        {p1, "CYLINDER=FILE"},
        {"x=" + p1, "CYLINDER=FILE"},
        {"1.5=" + p1, "CYLINDER=FILE"},
        {"1=", "CYLINDER=FILE"},
        {"5=" + p1, "not in 1..4"},
        {"0=" + p1, "not in 1..4"},
        {"1=" + p1 + " 1=" + p1, "given twice"},
        {"1=" + folder.path("none.wav"), "none.wav"},
        {"1=" + folder.file("empty.wav", ""), "empty"},
        {"1=" + folder.file("text.wav", "not a sound at all"), "text.wav"},
        {"1=" + p1 + " --channel 2", "channel"},
        {"1=" + p1 + " --plot clicks.bmp", ".png or .svg"},
        {"1=" + p1 + " --format xml", "xml"},
        {"", "CYLINDER=FILE"}};
    for (const auto& [rest, reason] : cases) test::check_refused(command(rest), 2, reason);
    // A picture that cannot be written does not take the results with it.
    const auto ran = run_idlehark(command("1=" + p1 + " --plot " + folder.path("no/such/clicks.png")));
    CHECK(ran.code == 2);
    CHECK_THAT(ran.out, Contains("verdict"));
    CHECK_THAT(ran.err, Contains("cannot be written"));
}

TEST_CASE("Command injectors: sounds that allow no answer exit 1 with the reason", "[src][cli][injectors]") {
    const ScratchFolder folder;
    write(folder.path("silent.wav"), std::vector<float>(240000, 0.F));
    write(folder.path("short.wav"), std::vector<float>(24000, 0.1F));
    for (const auto& [name, reason] : {std::pair{"silent.wav", "is silent"}, std::pair{"short.wav", "too short"}})
        test::check_refused(command("1=" + folder.path(name)), 1, reason);
    // An engine heard in the open, no probe on anything.
    std::string rest;
    for (int c = 1; c <= 4; ++c) {
        sim::SpeedPathSpec idle;
        idle.duration_s = 12.0;
        idle.mean_rpm = 830.0;
        idle.wander_rpm = 2.0;
        idle.seed = static_cast<std::uint64_t>(c);
        sim::EngineSoundSpec engine;
        engine.sample_rate_hz = kRate_hz;
        engine.seed = idle.seed;
        engine.injector_db = engine.valve_db = sim::kOff_db;  // simulated ticks are steadier than real ones
        const auto name = folder.path("open" + std::to_string(c) + ".wav");
        write(name, test::engine_in_noise(engine, sim::SpeedPath{idle}, 10.0, idle.seed));
        rest += std::to_string(c) + "=" + name + " ";
    }
    test::check_refused(command(rest), 1, "is no injector");
}

TEST_CASE("Injector picture: survives rows without any figure", "[src][report][injectors]") {
    const ScratchFolder folder;
    InjectorView view;
    view.injectors.resize(2);
    view.injectors[1].reading.cylinder = 2;
    CHECK(draw_injectors(view, folder.path("none.svg")));
    CHECK_FALSE(draw_injectors(view, folder.path("none.gif")));
    CHECK_FALSE(injector_table(view).empty());
    CHECK(nlohmann::json::parse(injector_json(view))["injectors"][0]["jitter_us"].is_null());
}
