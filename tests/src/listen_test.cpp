#include "src/analysis/listen.hpp"

#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/speed_path.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sample24.hpp"
#include "tests/src/support.hpp"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("Listening pass: missing sound is never heard as a change of speed", "[src][listen]") {
    constexpr double kRate_hz = 16000.0;
    const test::ScratchFolder folder;
    sim::SpeedPathSpec idle;
    idle.duration_s = 24.0;
    idle.mean_rpm = 800.0;
    sim::EngineSoundSpec spec;
    spec.sample_rate_hz = kRate_hz;
    sim::EngineSound engine(spec, sim::SpeedPath(idle));
    const auto x = sim::render_seconds(engine, 24.0);

    RecordingSettings settings;
    settings.sample_rate_hz = kRate_hz;
    const auto path = folder.path("bay.wav");
    auto recorder = Recorder::create(path, settings);
    REQUIRE(recorder);
    const auto write = [&](double from_s, double to_s) {
        std::vector<std::int32_t> part;
        for (auto i = static_cast<std::size_t>(from_s * kRate_hz); i < static_cast<std::size_t>(to_s * kRate_hz); ++i)
            part.push_back(to_24_bits(x[i]));
        REQUIRE(recorder.value().write(part));
    };
    write(0.0, 10.0);
    REQUIRE(recorder.value().gap(16000));  // a second is lost
    write(11.0, 24.0);
    REQUIRE(recorder.value().finish("test"));

    ListenRequest request;
    request.path = path;
    std::vector<RpmReading> readings;
    const auto heard = listen_through(
        request,
        {.readings = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); },
         .start = {},
         .sound = {},
         .progress = {}});
    REQUIRE(heard);
    int before = 0, after = 0;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        if (i > 0) CHECK(readings[i].time_s > readings[i - 1].time_s);
        if (!readings[i].locked) continue;
        CHECK(readings[i].rpm == Approx(800.0).epsilon(0.01));
        CHECK(std::abs(readings[i].time_s - 10.0) > 1.0);  // nothing near the gap
        ++(readings[i].time_s < 10.0 ? before : after);
    }
    CHECK(before > 70);
    CHECK(after > 90);
    REQUIRE(heard.value().warnings.size() == 1);
    CHECK(heard.value().warnings.front().find("missing at 1 place") != std::string::npos);
}
