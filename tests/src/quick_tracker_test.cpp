#include "src/analysis/quick_tracker.hpp"

#include "tests/engine_in_noise.hpp"

#include <algorithm>
#include <bit>
#include <cstdint>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("quick tracker: gives the tracker's readings, bit for bit, and all it owes when it catches up") {
    sim::SpeedPathSpec spec;
    spec.duration_s = 8.0;
    spec.mean_rpm = 800.0;
    sim::EngineSoundSpec engine;
    engine.sample_rate_hz = 16000.0;
    const auto x = test::engine_in_noise(engine, sim::SpeedPath{spec}, 6.0, 4);
    const IdleTrackerConfig config{.sample_rate_hz = 16000.0, .engine = engine.engine};
    const auto as_bits = [](const std::vector<RpmReading>& readings) {
        std::vector<std::uint64_t> bits;
        for (const auto& r : readings)
            for (const double v : {r.time_s, r.rpm, r.rpm_low, r.rpm_high, r.locked ? 1.0 : 0.0})
                bits.push_back(std::bit_cast<std::uint64_t>(v));
        return bits;
    };
    const auto wanted = as_bits(track_idle(config, x));
    QuickTracker tracker{config};
    for (int time = 0; time < 2; ++time) {
        std::vector<RpmReading> all;
        const auto add = [&](const std::vector<RpmReading>& r) { all.insert(all.end(), r.begin(), r.end()); };
        const std::size_t half = x.size() / 2;
        for (std::size_t i = 0; i < half; i += 3001)
            add(tracker.process(AudioView(x).subspan(i, std::min<std::size_t>(3001, half - i))));
        add(tracker.catch_up());
        REQUIRE_FALSE(all.empty());
        CHECK(all.back().time_s > 4.0 - tracker.latency().value - 0.6);  // half a second comes out at a time
        add(tracker.process(AudioView(x).subspan(half)));
        add(tracker.finish());
        CHECK(as_bits(all) == wanted);
        CHECK(tracker.summary().samples == x.size());
        tracker.reset();
    }
}
