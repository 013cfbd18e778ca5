#include "dsp/idle_tracker.hpp"

#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/sim/speed_path.hpp"
#include "dsp/statistics.hpp"
#include "dsp/track/coarse_path.hpp"
#include "tests/engine_in_noise.hpp"
#include "tests/plain_engine.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <span>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {
constexpr double kRate_hz = 16000.0;

Engine engine_of(int cylinders) {
    Engine e;
    e.cylinders = cylinders;
    return e;
}

std::vector<float> engine_in_noise(const Engine& engine, const sim::SpeedPath& path, double snr_db, std::uint64_t seed,
                                   const std::function<void(sim::Mix&)>& disturb = {}) {
    sim::EngineSoundSpec spec;
    spec.engine = engine;
    spec.sample_rate_hz = kRate_hz;
    spec.seed = seed;
    return test::engine_in_noise(spec, path, snr_db, seed + 1, disturb);
}

sim::SpeedPathSpec idle(double seconds, double rpm) {
    sim::SpeedPathSpec s;
    s.duration_s = seconds;
    s.mean_rpm = rpm;
    s.hunting_rpm = 3.0;
    s.wander_rpm = 1.5;
    return s;
}

bool same_bits(const std::vector<RpmReading>& a, const std::vector<RpmReading>& b) {
    return a.size() == b.size() &&
           std::equal(a.begin(), a.end(), b.begin(), [](const RpmReading& x, const RpmReading& y) {
               const auto bits = [](double v) { return std::bit_cast<std::uint64_t>(v); };  // NaN equals itself so
               return bits(x.rpm) == bits(y.rpm) && x.time_s == y.time_s && x.locked == y.locked &&
                      bits(x.rpm_low) == bits(y.rpm_low);
           });
}

std::vector<RpmReading> in_blocks(const IdleTrackerConfig& config, const std::vector<float>& x, std::size_t block) {
    IdleTracker tracker(config);
    std::vector<RpmReading> all;
    for (std::size_t i = 0; i < x.size(); i += block) {
        const auto r = tracker.process(AudioView(x).subspan(i, std::min(block, x.size() - i)));
        all.insert(all.end(), r.begin(), r.end());
    }
    const auto r = tracker.finish();
    all.insert(all.end(), r.begin(), r.end());
    return all;
}
/// What became of readings whose truth is known.
struct Tally {
    double locked = 0, gross = 0, covered = 0, near = 0;
    void add(const std::vector<RpmReading>& readings, const sim::SpeedPath& path) {
        for (const auto& r : readings) {
            if (!r.locked) continue;
            const double truth = path.rpm_at(r.time_s);
            locked += 1;
            gross += std::abs(r.rpm / truth - 1.0) > 0.03;
            covered += r.rpm_low <= truth && truth <= r.rpm_high;
            near += std::abs(r.rpm / truth - 1.0) < 0.005;
        }
    }
};
}  // namespace

TEST_CASE("IdleTracker: follows an idling engine as loud as the noise, without bass", "[dsp][idle]") {
    const int cylinders = GENERATE(3, 4, 6, 8);
    CAPTURE(cylinders);
    const auto engine = engine_of(cylinders);
    const sim::SpeedPath path(idle(15.0, 820.0));
    const auto readings =
        track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, engine_in_noise(engine, path, 0.0, 101));
    REQUIRE(readings.size() == 150);
    std::vector<double> errors;
    int gross = 0;
    for (const auto& r : readings)
        if (r.locked) {
            errors.push_back(std::abs(r.rpm / path.rpm_at(r.time_s) - 1.0));
            gross += errors.back() > 0.03;
        }
    CHECK(errors.size() >= 147);  // locked at least 98 % of the time
    CHECK(gross == 0);
    REQUIRE(!errors.empty());
    std::nth_element(errors.begin(), errors.begin() + static_cast<std::ptrdiff_t>(errors.size() / 2), errors.end());
    CHECK(errors[errors.size() / 2] < 0.001);
}

TEST_CASE("IdleTracker: a resonance far above the firing rate, in white noise, is no faster engine's firing",
          "[dsp][idle]") {
    const test::PlainEngine spec{.seconds = 12.0, .noise_to_sound = GENERATE(0.5, 1.0, 1.5), .seed = GENERATE(1u, 2u)};
    CAPTURE(spec.noise_to_sound, spec.seed);
    const auto readings =
        track_idle({.sample_rate_hz = test::PlainEngine::kRate_hz, .engine = engine_of(4)}, spec.sound().samples);
    const auto locked = std::count_if(readings.begin(), readings.end(), [&](const RpmReading& r) {
        return r.locked && std::abs(r.rpm / spec.rpm - 1.0) < 0.02;
    });
    CHECK(locked >= 110);
    CHECK(std::count_if(readings.begin(), readings.end(), [](const RpmReading& r) { return r.locked; }) == locked);
}

TEST_CASE("IdleTracker: in noise twice as loud in amplitude, what it says still holds", "[dsp][idle]") {
    Tally all;
    for (const int cylinders : {4, 5, 6})
        for (const std::uint64_t seed : {401U, 402U}) {
            const auto engine = engine_of(cylinders);
            const sim::SpeedPath path(idle(25.0, 790.0));
            all.add(
                track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, engine_in_noise(engine, path, -6.0, seed)),
                path);
        }
    CHECK(all.locked > 300);
    CHECK(all.covered / all.locked > 0.9);
    CHECK(all.near / all.locked > 0.9);
}

TEST_CASE("IdleTracker: a can's hiss far above the engine does not carry the speed away", "[dsp][idle]") {
    Tally all;
    for (const int cylinders : {3, 4, 5, 6})
        for (const std::uint64_t seed : {501U, 502U, 503U}) {
            const auto engine = engine_of(cylinders);
            const sim::SpeedPath path(idle(30.0, 800.0));
            const auto x = engine_in_noise(engine, path, -3.0, seed, [seed](sim::Mix& mix) {
                sim::SprayCanSpec can;
                for (double t = 4.0; t < 29.0; t += 4.0) can.sprays.push_back({.time_s = t, .duration_s = 1.5});
                sim::add_spray_can(mix, can, 20.0, seed + 2);
            });
            all.add(track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, x), path);
        }
    CHECK(all.locked > 0.8 * 12 * 300);
    CHECK(all.gross / all.locked <= 0.003);
    CHECK(all.covered / all.locked > 0.92);
}

TEST_CASE("IdleTracker: a fan as loud as the engine, its tones beside the engine's lines, does not lead the speed off",
          "[dsp][idle]") {
    constexpr double kTone_hz = 175.0;
    constexpr double kRpm = 1.015 * kTone_hz * 60.0 / 12.0;  // the twelfth order stands 1.5 % above the tone
    Tally all;
    for (const int cylinders : {4, 5, 6})
        for (const std::uint64_t seed : {601U, 602U, 603U}) {
            const auto engine = engine_of(cylinders);
            auto moving = idle(30.0, kRpm);
            moving.seed = seed;
            const sim::SpeedPath path(moving);
            const auto x = engine_in_noise(engine, path, 0.0, seed, [seed](sim::Mix& mix) {
                const sim::FanSpec fan{.shaft_hz = kTone_hz / 7, .blades = 7};
                mix.add_at_snr(sim::make_source(fan, kRate_hz, seed + 2), 0.0, sim::Mix::kHeardBand, 5.0);
            });
            all.add(track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, x), path);
        }
    CHECK(all.locked > 0.9 * 9 * 300);
    CHECK(all.gross / all.locked <= 0.005);
    CHECK(all.covered / all.locked > 0.92);
}

TEST_CASE("IdleTracker: a fan in noise is no engine of twelve cylinders", "[dsp][idle]") {
    double locked = 0;
    for (int k = 0; k < 8; ++k) {
        const auto seed = 700U + static_cast<std::uint64_t>(k);
        auto mix =
            std::make_unique<sim::Mix>(sim::make_source(sim::FanSpec{.shaft_hz = 18.5 + 0.5 * k}, kRate_hz, seed));
        mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, kRate_hz, seed + 1), 0.0, sim::Mix::kHeardBand, 5.0);
        const auto heard = sim::through_microphone(std::move(mix), {.kind = sim::MicrophoneKind::phone});
        const auto x = sim::render_seconds(*heard, 20.0);
        for (const auto& r : track_idle({.sample_rate_hz = kRate_hz, .engine = engine_of(12)}, x)) locked += r.locked;
    }
    CHECK(locked == 0);
}

TEST_CASE("IdleTracker: a step of 30 rpm shows nine tenths within half a second", "[dsp][idle]") {
    constexpr double kStep_rpm = 30.0;
    const int cylinders = GENERATE(3, 4, 6, 8);
    CAPTURE(cylinders);
    const auto engine = engine_of(cylinders);
    auto stepping = idle(60.0, 800.0);
    stepping.hunting_rpm = 0.0;
    for (double t = 4.0; t < 56.0; t += 8.0)
        stepping.loads.push_back({.time_s = t, .change_rpm = kStep_rpm, .time_constant_s = 0.02, .end_s = t + 4.0});
    const sim::SpeedPath path(stepping);
    std::vector<double> before, after;
    for (const auto& r :
         track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, engine_in_noise(engine, path, 0.0, 801))) {
        if (r.time_s < 3.0 || r.time_s > 56.0) continue;
        REQUIRE(r.locked);
        const double since_s = std::fmod(r.time_s + 4.0, 8.0);  // up at every zero, down four seconds later
        if (std::abs(since_s - 7.5) < 0.05) before.push_back(r.rpm);
        if (std::abs(since_s - 0.5) < 0.05) after.push_back(r.rpm);
    }
    REQUIRE(before.size() == 7);
    REQUIRE(after.size() == 7);
    const double shown = (stats::mean(after) - stats::mean(before)) / kStep_rpm;
    CHECK(shown > 0.9);
    CHECK(shown < 1.1);
}

TEST_CASE("DrownedFrames: straight over what is far fainter than usual, from the clear frames about it",
          "[dsp][idle]") {
    const auto path_of = [](const std::vector<double>& scores) {
        std::vector<CoarsePoint> path;
        for (const double score : scores) {
            const double t = 0.1 * static_cast<double>(path.size());
            path.push_back({.time_s = t, .cycle_hz = score < 4.0 ? 9.0 : 7.0 + t, .score = score, .heard = true});
        }
        return path;
    };
    DrownedFrames drowned;
    CHECK(drowned.bridged(path_of({8, 7, 8, 6, 8, 7, 8, 8}), -1.0).empty());
    const auto bridged = drowned.bridged(path_of({2, 8, 8, 1, 3, 8, 7, 2}), -1.0);
    REQUIRE(bridged.size() == 8);
    for (const std::size_t k : {1U, 2U, 3U, 4U, 5U, 6U})
        CHECK_THAT(bridged[k].cycle_hz, Catch::Matchers::WithinAbs(7.0 + bridged[k].time_s, 1e-12));
    CHECK(bridged[0].cycle_hz == bridged[1].cycle_hz);
    CHECK(bridged[7].cycle_hz == bridged[6].cycle_hz);
    CHECK(bridged[3].score == 1.0);                               // as faint as it was
    CHECK(drowned.bridged(path_of({1, 2, 1, 3}), -1.0).empty());  // nothing to build on
}

TEST_CASE("IdleTracker: the numbers do not depend on how the sound is cut", "[dsp][idle]") {
    const auto engine = engine_of(4);
    const sim::SpeedPath path(idle(4.0, 800.0));
    const auto x = engine_in_noise(engine, path, 6.0, 3);
    const IdleTrackerConfig config{.sample_rate_hz = kRate_hz, .engine = engine};
    const auto whole = track_idle(config, x);
    REQUIRE(std::any_of(whole.begin(), whole.end(), [](const RpmReading& r) { return r.locked; }));
    for (const std::size_t block : {1U, 64U, 4096U, 8192U}) {
        CAPTURE(block);
        CHECK(same_bits(in_blocks(config, x, block), whole));
    }
}

TEST_CASE("IdleTracker: in halves, the second far behind the first, it gives the same readings", "[dsp][idle]") {
    const auto engine = engine_of(4);
    const sim::SpeedPath path(idle(6.0, 800.0));
    const auto x = engine_in_noise(engine, path, 6.0, 4);
    const IdleTrackerConfig config{.sample_rate_hz = kRate_hz, .engine = engine};
    IdleTracker tracker(config);
    std::vector<IdleTracker::Heard> heard;
    for (std::size_t i = 0; i < x.size(); i += 10007)
        heard.push_back(tracker.hear(AudioView(x).subspan(i, std::min<std::size_t>(10007, x.size() - i))));
    heard.push_back(tracker.hear_end());
    std::vector<RpmReading> all;
    for (const auto& h : heard) {
        const auto r = tracker.read(h);
        all.insert(all.end(), r.begin(), r.end());
    }
    CHECK(all.size() > 50);
    CHECK(same_bits(all, track_idle(config, x)));
}

TEST_CASE("IdleTracker: after reset it is as new", "[dsp][idle]") {
    const auto engine = engine_of(4);
    const sim::SpeedPath path(idle(4.0, 800.0));
    const auto x = engine_in_noise(engine, path, 6.0, 3);
    IdleTracker tracker({.sample_rate_hz = kRate_hz, .engine = engine});
    const auto collect = [&] {
        const auto first = tracker.process(x);
        std::vector<RpmReading> all(first.begin(), first.end());
        const auto rest = tracker.finish();
        all.insert(all.end(), rest.begin(), rest.end());
        return all;
    };
    const auto once = collect();
    tracker.reset();
    CHECK(same_bits(collect(), once));
}

TEST_CASE("IdleTracker: gives no figure where there is no engine", "[dsp][idle]") {
    const int cylinders = GENERATE(1, 4, 8, 12);
    const int kind = GENERATE(0, 1, 2, 3, 4, 5);
    CAPTURE(cylinders, kind);
    std::unique_ptr<sim::Source> sound;
    if (kind == 1) sound = sim::make_source(sim::NoiseSpec{.colour = sim::NoiseColour::white}, kRate_hz, 11);
    if (kind == 2) sound = sim::make_source(sim::NoiseSpec{}, kRate_hz, 12);
    if (kind == 3) sound = sim::make_source(sim::SpeechSpec{}, kRate_hz, 13);
    if (kind == 4) sound = sim::make_source(sim::MusicSpec{.beats_per_min = 97.0}, kRate_hz, 301);
    if (kind == 5) sound = sim::make_source(sim::FanSpec{.shaft_hz = 22.0}, kRate_hz, 301);
    const auto x =
        sound ? sim::render_seconds(*sound, 15.0) : std::vector<float>(static_cast<std::size_t>(15 * kRate_hz));
    for (const auto& r : track_idle({.sample_rate_hz = kRate_hz, .engine = engine_of(cylinders)}, x)) {
        CHECK_FALSE(r.locked);
        CHECK(std::isnan(r.rpm));  // never 0 rpm
    }
}

TEST_CASE("IdleTracker: gives up within a second of a stall", "[dsp][idle]") {
    const auto engine = engine_of(4);
    auto spec = idle(12.0, 800.0);
    spec.stall_s = 7.0;
    spec.stall_fall_s = 0.3;
    const sim::SpeedPath path(spec);
    const auto readings =
        track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, engine_in_noise(engine, path, 6.0, 21));
    bool locked_before = false;
    for (const auto& r : readings) {
        if (r.time_s < 6.5) locked_before = locked_before || r.locked;
        if (r.time_s > 8.3) CHECK_FALSE(r.locked);
    }
    CHECK(locked_before);
}

TEST_CASE("IdleTracker: hears broken samples as silence and counts them", "[dsp][idle]") {
    const auto engine = engine_of(4);
    const sim::SpeedPath path(idle(6.0, 800.0));
    auto x = engine_in_noise(engine, path, 10.0, 5);
    for (std::size_t i = 0; i < x.size(); i += 4000) x[i] = std::numeric_limits<float>::quiet_NaN();
    x[1234] = std::numeric_limits<float>::infinity();
    IdleTracker tracker({.sample_rate_hz = kRate_hz, .engine = engine});
    for (const auto& r : tracker.process(x))
        if (r.locked) CHECK(std::abs(r.rpm / path.rpm_at(r.time_s) - 1.0) < 0.03);
    CHECK(tracker.summary().not_finite_samples == (x.size() + 3999) / 4000 + 1);
    CHECK(tracker.summary().samples == x.size());
}

TEST_CASE("IdleTracker: counts clipped runs, not single peaks", "[dsp][idle]") {
    std::vector<float> x(16000, 0.0F);
    x[100] = 1.0F;
    x[200] = x[201] = x[202] = 1.0F;
    x[300] = x[301] = -1.0F;
    IdleTracker tracker({.sample_rate_hz = kRate_hz, .engine = engine_of(4)});
    (void)tracker.process(x);
    CHECK(tracker.summary().clipped_samples == 5);
}

namespace {
/// Locked readings' mean speed, of an engine that truly turns at 800 rpm, and what the tracker makes of its cycle.
struct Told {
    double rpm = 0.0;
    IdleTracker::Summary summary;
};
Told told_as(const Engine& told, const std::vector<double>& strengths, std::uint64_t seed = 45) {
    const sim::SpeedPath path(idle(15.0, 800.0));
    sim::EngineSoundSpec spec;
    spec.engine = engine_of(static_cast<int>(strengths.size()));
    spec.sample_rate_hz = kRate_hz;
    spec.seed = seed;
    spec.cylinder_strengths = strengths;
    sim::EngineSound sound(spec, path);
    IdleTracker tracker({.sample_rate_hz = kRate_hz, .engine = told});
    Told t;
    int locked = 0;
    const auto add = [&](std::span<const RpmReading> readings) {
        for (const auto& r : readings)
            if (r.locked) t.rpm += r.rpm, ++locked;
    };
    add(tracker.process(sim::render_seconds(sound, 15.0)));
    add(tracker.finish());
    REQUIRE(locked > 100);
    t.rpm /= locked;
    t.summary = tracker.summary();
    return t;
}
}  // namespace

TEST_CASE("IdleTracker: notes that another cylinder count explains the comb better", "[dsp][idle]") {
    const int stated = GENERATE(4, 6);
    auto told = engine_of(stated);
    told.idle_low_rpm = 700.0 * 6 / stated;  // the range in which the firing lines lie
    told.idle_high_rpm = 950.0 * 6 / stated;
    const auto summary = told_as(told, {1.0, 0.6, 1.0, 0.9, 1.0, 0.8}, 44).summary;
    CAPTURE(stated);
    CHECK(summary.likelier_cylinders == (stated == 6 ? 0 : 6));
    if (stated != 6) CHECK(summary.likelier_rpm == Approx(800.0).epsilon(0.01));
}

TEST_CASE("IdleTracker: the half orders say how fast the crank turns, whatever number of cylinders is stated",
          "[dsp][idle]") {
    auto told = engine_of(8);  // whose firing lines at 600 rpm are those of the six
    told.idle_low_rpm = 550.0;
    told.idle_high_rpm = 900.0;
    const auto t = told_as(told, {1.0, 0.4, 0.9, 0.7, 1.0, 0.2});
    CHECK(t.rpm == Approx(800.0).epsilon(0.01));
    CHECK(t.summary.likelier_cylinders == 6);
    CHECK(t.summary.likelier_rpm == Approx(800.0).epsilon(0.01));
}

TEST_CASE("IdleTracker: half orders that are hardly heard move no speed", "[dsp][idle]") {
    // Cylinders nearly alike, noise as loud: what firing lines leak may look like half orders of some other count.
    const auto engine = engine_of(GENERATE(5, 8));
    for (std::uint64_t seed = 1; seed <= 24; ++seed) {
        CAPTURE(engine.cylinders, seed);
        auto spec = idle(8.0, 640.0 + 10.0 * static_cast<double>(seed));
        spec.seed = seed;
        const sim::SpeedPath path(spec);
        const auto readings =
            track_idle({.sample_rate_hz = kRate_hz, .engine = engine}, engine_in_noise(engine, path, 0.0, seed));
        CHECK(std::count_if(readings.begin(), readings.end(), [&](const RpmReading& r) {
                  return r.locked && std::abs(r.rpm / path.rpm_at(r.time_s) - 1.0) > 0.03;
              }) <= 1);
    }
}

TEST_CASE("IdleTracker: a sound that repeats within the cycle leaves the choice to the stated idle, and says so",
          "[dsp][idle]") {
    const std::vector<double> strengths{1.0, 0.3, 0.8, 0.6};
    auto told = engine_of(8);
    told.idle_low_rpm = 350.0;
    told.idle_high_rpm = 500.0;
    const auto slow = told_as(told, strengths);
    CHECK(slow.rpm == Approx(400.0).epsilon(0.01));
    CHECK(slow.summary.likelier_cylinders == 4);
    CHECK(slow.summary.likelier_rpm == Approx(800.0).epsilon(0.01));

    told.idle_low_rpm = 540.0;
    told.idle_high_rpm = 900.0;
    const auto settled = told_as(told, strengths);
    CHECK(settled.rpm == Approx(800.0).epsilon(0.01));
    CHECK(settled.summary.likelier_cylinders == 0);

    const auto right = told_as(engine_of(4), strengths);
    CHECK(right.rpm == Approx(800.0).epsilon(0.01));
    CHECK(right.summary.likelier_cylinders == 0);
}

TEST_CASE("IdleTracker: refuses what cannot be", "[dsp][idle]") {
    CHECK_THROWS_AS(IdleTracker({.sample_rate_hz = 4000.0, .engine = engine_of(4)}), std::invalid_argument);
    CHECK_THROWS_AS(IdleTracker({.sample_rate_hz = 400000.0, .engine = engine_of(4)}), std::invalid_argument);
    CHECK_THROWS_AS(IdleTracker({.sample_rate_hz = kRate_hz, .engine = engine_of(13)}), std::invalid_argument);
    CHECK_THROWS_AS(IdleTracker({.sample_rate_hz = kRate_hz, .engine = engine_of(4), .hop_s = 0.0}),
                    std::invalid_argument);
    CHECK(track_idle({.sample_rate_hz = kRate_hz, .engine = engine_of(4)}, {}).empty());
    const std::vector<float> second(16000, 0.001F);
    CHECK(track_idle({.sample_rate_hz = kRate_hz, .engine = engine_of(4)}, second).size() == 10);
}
