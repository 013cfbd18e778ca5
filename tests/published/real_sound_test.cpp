#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/injectors/injector_set.hpp"
#include "dsp/sim/speed_path.hpp"
#include "dsp/statistics.hpp"
#include "tests/published/real_recordings.hpp"

#include <cmath>
#include <random>
#include <span>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace real_recordings;
using Catch::Matchers::WithinRel;

TEST_CASE("Real sound: steady engines agree with a comb found by another hand", "[published][real]") {
    struct Known {
        const char* file;
        int cylinders;
        double low_rpm, high_rpm;
        double rpm, sound_ends_s;
    };
    const Known known = GENERATE(
        Known{"idle_a.wav", 4, 600.0, 1100.0, 851.0, 3.54}, Known{"idle_b.wav", 6, 600.0, 1100.0, 800.0, 1e9},
        Known{"aero_idle.wav", 4, 600.0, 1200.0, 895.0, 1e9}, Known{"aero_cruise.wav", 4, 1800.0, 3200.0, 2429.0, 1e9});
    const auto sound = real_sound(known.file);
    if (!sound) return;
    CAPTURE(known.file);
    const double end_s = static_cast<double>(sounding_frames(*sound)) / sound->sample_rate_hz;
    const auto all = readings(*sound, known.cylinders, known.low_rpm, known.high_rpm);
    const auto rpm = locked_rpm(all, 0.0, end_s);
    WARN(known.file << ": locked " << rpm.size() << " of " << count(all, 0.0, end_s) << ", median "
                    << (rpm.empty() ? 0.0 : stats::median(rpm)) << " rpm, known " << known.rpm);
    REQUIRE(!rpm.empty());
    CHECK_THAT(stats::median(rpm), WithinRel(known.rpm, 0.01));
    CHECK(locked_rpm(all, end_s + 1.0).empty());  // given up within a second of the zeros
}

TEST_CASE("Real sound: speed is continuous through a run-up, but for the gear change", "[published][real]") {
    const auto sound = real_sound("runup_gearchange.wav");
    if (!sound) return;
    // Main line 60 to 88 Hz; taken as the firing line of four cylinders that is 1800 to 2640 rpm.
    const auto all = readings(*sound, 4, 1200.0, 4000.0);
    const RpmReading* before = nullptr;
    int compared = 0;
    int jumps = 0;
    for (const RpmReading& r : all) {
        if (before != nullptr && r.locked && before->locked && (r.time_s < 5.0 || before->time_s > 7.0)) {
            ++compared;
            jumps += std::abs(r.rpm / before->rpm - 1.0) > 0.05;  // 0.1 s apart: 1000 rpm/s
        }
        before = &r;
    }
    WARN("compared " << compared << " neighbours, " << jumps << " jumps");
    CHECK(jumps == 0);
}

TEST_CASE("Real sound: a response put into a real idle by warping its time is found, and only that",
          "[published][real]") {
    const auto sound = real_sound("aero_idle.wav");
    if (!sound) return;
    const double rate_hz = sound->sample_rate_hz;
    constexpr double kIdle_rpm = 893.0;
    // The recording is 13 s long. Pieces of 10 to 30 cycles of it, cut where a cycle begins by its own tracked speed,
    // are strung together in random order, so that its unrest is real but nothing repeats.
    std::vector<std::size_t> cycle_start;
    {
        const auto own = readings(*sound, 4, 600.0, 1200.0);
        double cycles = 0.0;
        std::size_t k = 0;
        for (std::size_t i = 0; i < sound->samples.size(); ++i) {
            const double t = static_cast<double>(i) / rate_hz;
            while (k + 1 < own.size() && own[k + 1].time_s <= t) ++k;
            const double whole = std::floor(cycles);
            cycles += (own[k].locked ? own[k].rpm : kIdle_rpm) / 120.0 / rate_hz;
            if (std::floor(cycles) > whole && t > 0.5) cycle_start.push_back(i);
        }
    }
    REQUIRE(cycle_start.size() > 60);
    constexpr double kLongest_s = 240.0;
    const auto fade_frames = static_cast<std::size_t>(0.01 * rate_hz);
    std::mt19937_64 random(1);
    std::vector<double> loop;
    while (static_cast<double>(loop.size()) < kLongest_s * rate_hz) {
        const auto length = std::uniform_int_distribution<std::size_t>(10, 30)(random);
        const auto k = std::uniform_int_distribution<std::size_t>(0, cycle_start.size() - 2 - length)(random);
        const std::size_t from = cycle_start[k];
        const std::size_t to = cycle_start[k + length];
        std::vector<double> tail;  // what ran on beyond the piece before
        if (!loop.empty()) {
            tail.assign(loop.end() - static_cast<std::ptrdiff_t>(fade_frames), loop.end());
            loop.resize(loop.size() - fade_frames);
        }
        const std::size_t join = loop.size();
        for (std::size_t i = from; i < to + fade_frames; ++i) loop.push_back(static_cast<double>(sound->samples[i]));
        for (std::size_t i = 0; i < tail.size(); ++i) {
            const double share = static_cast<double>(i) / static_cast<double>(fade_frames);
            loop[join + i] = std::sqrt(share) * loop[join + i] + std::sqrt(1.0 - share) * tail[i];
        }
    }
    const std::size_t loop_frames = loop.size();

    const std::vector<SpraySpot> spots{{"1", {}}, {"2", {}}, {"3", {}}, {"4", {}}};
    const std::vector<std::size_t> order{2, 0, 3, 1, 0, 1, 2, 3, 3, 2, 0, 1};  // each spot once a round
    std::vector<SprayBurst> bursts;
    for (std::size_t k = 0; k < order.size(); ++k) {
        SprayBurst b;
        b.time_s = 25.0 + 14.0 * static_cast<double>(k);
        b.spot = order[k];
        bursts.push_back(b);
    }
    int sessions = 0, covered = 0, weak = 0, weak_proven = 0;
    for (const std::size_t leak : {0u, 1u, 2u, 3u})
        for (const double change_rpm : {30.0, -30.0, 60.0}) {
            CAPTURE(leak, change_rpm);
            const auto frames = static_cast<std::size_t>((bursts.back().time_s + 29.0) * rate_hz);
            std::vector<float> x(frames);
            double at = 2.0;  // place in the repeated recording, frames
            for (std::size_t i = 0; i < frames; ++i) {
                const double t = static_cast<double>(i) / rate_hz;
                double speed = 1.0;
                for (const SprayBurst& b : bursts)
                    if (b.spot == leak) speed += change_rpm / kIdle_rpm * sim::burst_response(t - b.time_s, 1.0, {});
                const auto k = static_cast<std::size_t>(at);
                const double u = at - static_cast<double>(k);
                const auto v = [&](std::size_t j) { return loop[(k + j + loop_frames - 1) % loop_frames]; };
                // Cubic through four neighbours (Catmull-Rom).
                x[i] = static_cast<float>(v(1) + 0.5 * u *
                                                     (v(2) - v(0) +
                                                      u * (2.0 * v(0) - 5.0 * v(1) + 4.0 * v(2) - v(3) +
                                                           u * (3.0 * (v(1) - v(2)) + v(3) - v(0)))));
                at = std::fmod(at + speed, static_cast<double>(loop_frames));
            }
            const auto trace =
                readings({.sample_rate_hz = rate_hz, .samples = std::move(x), .warning = {}}, 4, 600.0, 1200.0);
            if (getenv("DUMP") && leak == 2 && change_rpm > 0)
                for (auto& r : trace) {
                    double c = 0;
                    for (auto& b : bursts)
                        if (b.spot == leak) c += change_rpm * sim::burst_response(r.time_s - b.time_s, 1.0, {});
                    fprintf(stderr, "%.1f %.2f %.2f %.2f %d %.2f\n", r.time_s, r.rpm, r.rpm_low, r.rpm_high, r.locked,
                            c);
                }
            const auto result = evaluate_spray(trace, bursts, spots);
            const SpotResult& found = result.spots[leak];
            INFO(found.change_rpm << " (" << found.low_rpm << " to " << found.high_rpm << "), p " << found.p_value);
            ++sessions;
            covered += found.low_rpm <= change_rpm && change_rpm <= found.high_rpm;
            if (change_rpm == 60.0) {
                CHECK(found.verdict == SprayVerdict::leak);
            } else {
                ++weak;
                weak_proven += found.verdict == SprayVerdict::leak;
            }
            for (std::size_t s = 0; s < spots.size(); ++s)
                if (s != leak) CHECK(result.spots[s].verdict != SprayVerdict::leak);
        }
    WARN("30 rpm proven in " << weak_proven << " of " << weak << " sessions; interval holds the truth in " << covered
                             << " of " << sessions);
    // At the rates required (95 % of leaks of 25 rpm and more, 95 % intervals) fewer come by chance in 1 of 100 or
    // less.
    CHECK(weak_proven >= 6);
    CHECK(covered >= 9);
}

TEST_CASE("Real sound: no hiss is found where none was sprayed", "[published][real]") {
    for (const char* file : {"runup_with_tach.wav", "idle_a.wav", "idle_b.wav", "aero_idle.wav", "aero_cruise.wav",
                             "high_rev_4cyl.wav", "high_rev_8cyl.wav", "runup_gearchange.wav"}) {
        const auto sound = real_sound(file);
        if (!sound) return;
        CAPTURE(file);
        CHECK(find_hiss({sound->sample_rate_hz}, sound->samples).empty());
    }
}

TEST_CASE("Real sound: an engine heard in the open is not judged as injectors", "[published][real]") {
    Engine engine;
    engine.firing_order = {1, 3, 4, 2};
    for (const char* file : {"idle_a.wav", "idle_b.wav", "aero_idle.wav"}) {
        const auto sound = real_sound(file);
        if (!sound) return;
        CAPTURE(file);
        const auto readings = readings_of_rumble(sound->samples, sound->sample_rate_hz, engine);
        const ProbedInjector alone{1, examine_probe(sound->samples, sound->sample_rate_hz, readings, engine, 1)};
        const auto set = compare_injectors(std::span(&alone, 1), engine);
        CHECK((set.no_part || set.injectors.front().verdict == InjectorVerdict::silent));
    }
}
