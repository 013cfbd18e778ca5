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
    std::size_t frames = 0;
    std::vector<std::size_t> gaps;
    const auto heard = listen_through(
        request,
        {.readings = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); },
         .start = {},
         .sound = [&](AudioView block) { frames += block.size(); },
         .progress = {},
         .gap = [&] { gaps.push_back(frames); }});
    REQUIRE(heard);
    CHECK(frames == static_cast<std::size_t>(23.0 * kRate_hz));
    CHECK(gaps == std::vector{static_cast<std::size_t>(10.0 * kRate_hz)});
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

TEST_CASE("Listening pass: a recording that was gone on with is heard part by part, nothing between", "[src][listen]") {
    constexpr double kRate_hz = 16000.0, kPart_s = 12.0, kOffset_s = 42.5;
    const test::ScratchFolder folder;
    const auto part = [&](const std::string& name, double rpm) {
        sim::SpeedPathSpec idle;
        idle.duration_s = kPart_s;
        idle.mean_rpm = rpm;
        sim::EngineSoundSpec spec;
        spec.sample_rate_hz = kRate_hz;
        sim::EngineSound engine(spec, sim::SpeedPath(idle));
        std::vector<std::int32_t> sound;
        for (const float x : sim::render_seconds(engine, kPart_s)) sound.push_back(to_24_bits(x));
        RecordingSettings settings;
        settings.sample_rate_hz = kRate_hz;
        auto recorder = Recorder::create(folder.path(name), settings);
        REQUIRE(recorder);
        REQUIRE(recorder.value().write(sound));
        REQUIRE(recorder.value().finish("test"));
        return folder.path(name);
    };
    const auto hear = [](const ListenRequest& request, std::vector<RpmReading>& readings) {
        return listen_through(
            request,
            {.readings = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); },
             .start = {},
             .sound = {},
             .progress = {}});
    };
    ListenRequest first, second;
    first.path = part("first.wav", 800.0);
    second.path = part("second.wav", 860.0);
    std::vector<RpmReading> one, other, both;
    const auto alone = hear(first, one);
    REQUIRE(alone);
    REQUIRE(hear(second, other));
    auto joined = first;
    joined.later = {{second.path, 1, kOffset_s}};
    const auto heard = hear(joined, both);
    REQUIRE(heard);
    REQUIRE(both.size() == one.size() + other.size());
    for (std::size_t i = 0; i < both.size(); ++i) {
        const bool later = i >= one.size();
        const auto& like = later ? other[i - one.size()] : one[i];
        CHECK(both[i].time_s == like.time_s + (later ? kOffset_s : 0.0));
        CHECK(both[i].locked == like.locked);
        if (like.locked) CHECK(both[i].rpm == like.rpm);
    }
    CHECK(heard.value().length_s == Approx(kOffset_s + kPart_s));
    CHECK(heard.value().readings == both.size());
    REQUIRE(heard.value().parts.size() == 2);
    CHECK(heard.value().parts[1].offset_s == kOffset_s);

    for (const double wrong_s : {kPart_s - 1.0, kPart_s + 3700.0, 1e300, std::nan("")}) {
        joined.later[0].offset_s = wrong_s;
        CHECK_FALSE(hear(joined, both));
    }
}
