#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/session.hpp"
#include "src/live/live_analysis.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("LiveAnalysis: rows of orders come with the readings, and start afresh after a gap", "[live]") {
    constexpr double kRate_hz = 16000.0;
    auto spec = sim::draw_engine(11, kRate_hz);
    spec.engine.cylinders = 4;
    spec.cylinder_strengths.assign(4, 1.0);
    sim::EngineSound engine{spec, sim::SpeedPath{std::vector{850.0, 850.0}}};
    const auto x = sim::render_seconds(engine, 16.0);

    std::vector<LiveReading> readings;
    std::vector<OrderRow> rows;
    LiveAnalysisSinks sinks;
    sinks.reading = [&](const LiveReading& r) { readings.push_back(r); };
    sinks.order_row = [&](OrderRow row) { rows.push_back(std::move(row)); };
    IdleTrackerConfig config{.sample_rate_hz = kRate_hz, .engine = spec.engine};
    config.engine.idle_low_rpm = 600.0;
    config.engine.idle_high_rpm = 1100.0;
    LiveAnalysis analysis{config, sinks};
    constexpr std::size_t kGapAt = 128000;
    for (std::size_t at = 0; at < x.size(); at += 256) {
        if (at == kGapAt) analysis.gap();
        analysis.process(std::span{x}.subspan(at, 256));
    }
    analysis.finish();

    REQUIRE(rows.size() > 50);
    int locked = 0;
    bool bridges = false;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (i > 0) CHECK(rows[i].time_s > rows[i - 1].time_s);
        locked += std::isfinite(rows[i].rpm) ? 1 : 0;
        // A row holds half a second of sound: none may reach across the gap at 8 s.
        bridges |= std::abs(rows[i].time_s - 8.0) < 0.2;
    }
    CHECK(locked > 40);
    CHECK_FALSE(bridges);
    const auto plain = [&] {
        std::vector<LiveReading> list;
        LiveAnalysisSinks only;
        only.reading = [&](const LiveReading& r) { list.push_back(r); };
        LiveAnalysis without{config, only};
        for (std::size_t at = 0; at < x.size(); at += 256) {
            if (at == kGapAt) without.gap();
            without.process(std::span{x}.subspan(at, 256));
        }
        without.finish();
        return list;
    }();
    REQUIRE(plain.size() == readings.size());  // the rows change nothing of the measuring
    for (std::size_t i = 0; i < plain.size(); ++i)
        if (plain[i].reading.locked) REQUIRE(plain[i].reading.rpm == readings[i].reading.rpm);
}
