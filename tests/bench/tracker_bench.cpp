// Accuracy of the idle tracker on simulated engines: one row a condition, figures over engines and seeds.
//   tracker_bench [--engines N] [--seconds S] [--first-seed K] [--only TEXT]
// Error      of the reading against the speed at that moment, in percent of it
// Gross      share of locked readings more than 3 % off
// 95 % at    the error, in half widths of the interval, that 95 % of readings keep below: 1 is perfect calibration
// Covered    share of locked readings whose 95 % interval holds the true speed
#include "dsp/idle_tracker.hpp"
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/sim/speed_path.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <memory>
#include <random>
#include <string>
#include <thread>
#include <vector>

using namespace idlehark;

namespace {

struct Case {
    Engine engine;
    sim::SpeedPathSpec path;
    sim::EngineSoundSpec sound;
    sim::MicrophoneSpec microphone{.kind = sim::MicrophoneKind::phone};
    std::vector<double> unstated_angles_deg;  ///< how the engine really fires, where the tracker is not told
    double noise_snr_db = 0.0;
    double sample_rate_hz = 16000.0;
    double seconds = 40.0;
    std::function<void(sim::Mix&, std::uint64_t)> disturb;
};

struct Figures {
    std::vector<double> errors_percent, errors_in_widths;
    double gross = 0, covered = 0, locked = 0, readings = 0, half_width_rpm = 0;
    void add(const Figures& o) {
        errors_percent.insert(errors_percent.end(), o.errors_percent.begin(), o.errors_percent.end());
        errors_in_widths.insert(errors_in_widths.end(), o.errors_in_widths.begin(), o.errors_in_widths.end());
        gross += o.gross, covered += o.covered, locked += o.locked, readings += o.readings;
        half_width_rpm += o.half_width_rpm;
    }
};

/// An engine nobody tuned on: cylinders given, the rest drawn.
Case draw_case(int cylinders, std::uint64_t seed, double seconds) {
    std::mt19937_64 random(seed * 7919 + static_cast<std::uint64_t>(cylinders));
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    Case c;
    c.engine.cylinders = cylinders;
    const double mean = 680.0 + 270.0 * uniform(random);
    c.engine.idle_low_rpm = std::floor(mean / 50.0) * 50.0 - 50.0;
    c.engine.idle_high_rpm = c.engine.idle_low_rpm + 250.0;
    c.seconds = seconds;
    c.path.duration_s = seconds;
    c.path.mean_rpm = mean;
    c.path.seed = seed;
    c.path.hunting_rpm = 5.0 * uniform(random);
    c.path.hunting_period_s = 3.0 + 5.0 * uniform(random);
    c.path.wander_rpm = 0.5 + 2.0 * uniform(random);
    c.sound.seed = seed + 1000;
    return c;
}

Figures run(const Case& c) {
    auto spec = c.sound;
    spec.engine = c.engine;
    if (!c.unstated_angles_deg.empty()) spec.engine.firing_angles_deg = c.unstated_angles_deg;
    spec.sample_rate_hz = c.sample_rate_hz;
    const sim::SpeedPath path(c.path);
    auto mix = std::make_unique<sim::Mix>(std::make_unique<sim::EngineSound>(spec, path));
    // The ratio is stated where a telephone hears; calibrated over a stretch, as a level meter would.
    if (std::isfinite(c.noise_snr_db))
        mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, c.sample_rate_hz, c.path.seed + 5), c.noise_snr_db,
                        sim::Mix::kHeardBand, 5.0);
    if (c.disturb) c.disturb(*mix, c.path.seed + 77);
    auto heard = sim::through_microphone(std::move(mix), c.microphone);
    IdleTracker tracker({.sample_rate_hz = c.sample_rate_hz, .engine = c.engine});
    Figures f;
    const auto take = [&](std::span<const RpmReading> readings) {
        for (const auto& r : readings) {
            f.readings += 1;
            if (!r.locked) continue;
            const double truth = path.rpm_at(r.time_s);
            const double error = 100.0 * std::abs(r.rpm - truth) / truth;
            f.locked += 1;
            f.errors_percent.push_back(error);
            f.errors_in_widths.push_back(std::abs(r.rpm - truth) / (0.5 * (r.rpm_high - r.rpm_low)));
            f.gross += error > 3.0;
            f.covered += truth >= r.rpm_low && truth <= r.rpm_high;
            f.half_width_rpm += 0.5 * (r.rpm_high - r.rpm_low);
        }
    };
    std::vector<float> block(static_cast<std::size_t>(c.sample_rate_hz));
    for (int s = 0; s < static_cast<int>(c.seconds); ++s) {
        heard->render(block);
        take(tracker.process(block));
    }
    take(tracker.finish());
    return f;
}

constexpr std::string_view kInNoise = " + noise 0 dB";

/// Share of readings locked where there is no engine at all.
double run_null(int cylinders, std::string kind, std::uint64_t seed, double rate_hz, double seconds) {
    const bool in_noise = kind.ends_with(kInNoise);
    if (in_noise) kind.resize(kind.size() - kInNoise.size());
    const Case c = draw_case(cylinders, seed, seconds);
    std::unique_ptr<sim::Source> sound;
    if (kind == "white noise")
        sound = sim::make_source(sim::NoiseSpec{.colour = sim::NoiseColour::white}, rate_hz, seed);
    if (kind == "pink noise") sound = sim::make_source(sim::NoiseSpec{}, rate_hz, seed);
    if (kind == "speech")
        sound =
            sim::make_source(sim::SpeechSpec{.pitch_hz = 95.0 + static_cast<double>(seed * 29 % 130)}, rate_hz, seed);
    if (kind == "music")
        sound = sim::make_source(sim::MusicSpec{.beats_per_min = 80.0 + static_cast<double>(seed * 17 % 60)}, rate_hz,
                                 seed);
    if (kind == "fan")
        sound = sim::make_source(sim::FanSpec{.shaft_hz = 20.0 + static_cast<double>(seed * 7 % 25)}, rate_hz, seed);
    if (kind == "mains hum")
        sound = sim::make_source(sim::HumSpec{.mains_hz = seed % 2 == 0 ? 50.0 : 60.0}, rate_hz, seed);
    if (in_noise) {
        auto mix = std::make_unique<sim::Mix>(std::move(sound));
        mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, rate_hz, seed), 0.0, sim::Mix::kHeardBand, 5.0);
        sound = std::move(mix);
    }
    if (sound)
        sound = sim::through_microphone(
            std::move(sound), {.kind = seed % 2 == 0 ? sim::MicrophoneKind::phone : sim::MicrophoneKind::flat});
    IdleTracker tracker({.sample_rate_hz = rate_hz, .engine = c.engine});
    double locked = 0, readings = 0;
    const auto take = [&](std::span<const RpmReading> r) {
        for (const auto& one : r) locked += one.locked;
        readings += static_cast<double>(r.size());
    };
    std::vector<float> block(static_cast<std::size_t>(rate_hz));
    for (int s = 0; s < static_cast<int>(seconds); ++s) {
        if (sound) sound->render(block);
        take(tracker.process(block));
    }
    take(tracker.finish());
    return locked / readings;
}

struct Condition {
    std::string name;
    std::vector<int> cylinders;
    std::function<void(Case&)> change;
};

std::vector<Condition> conditions() {
    const std::vector<int> all{3, 4, 5, 6, 8};
    std::vector<Condition> list;
    const auto add = [&](std::string name, std::vector<int> cylinders, std::function<void(Case&)> change) {
        list.push_back({std::move(name), std::move(cylinders), std::move(change)});
    };
    for (const int n : all) add("noise 0 dB, " + std::to_string(n) + " cyl", {n}, [](Case&) {});
    add("1 and 2 cyl", {1, 2}, [](Case&) {});
    add("10 and 12 cyl", {10, 12}, [](Case&) {});
    add("no noise, flat microphone", all, [](Case& c) {
        c.noise_snr_db = 40.0;
        c.microphone.kind = sim::MicrophoneKind::flat;
    });
    add("noise -6 dB", all, [](Case& c) { c.noise_snr_db = -6.0; });
    add("fan 0 dB + noise 0 dB", all, [](Case& c) {
        c.disturb = [](sim::Mix& m, std::uint64_t s) {
            m.add_at_snr(
                sim::make_source(sim::FanSpec{.shaft_hz = 25.0 + static_cast<double>(s % 17)}, m.sample_rate_hz(), s),
                0.0, sim::Mix::kHeardBand, 5.0);
        };
    });
    add("hum 0 dB + noise 0 dB", all, [](Case& c) {
        c.disturb = [](sim::Mix& m, std::uint64_t s) {
            m.add_at_snr(sim::make_source(sim::HumSpec{.mains_hz = s % 2 == 0 ? 50.0 : 60.0}, m.sample_rate_hz(), s),
                         0.0, sim::Mix::kHeardBand, 5.0);
        };
    });
    add("speech 0 dB + noise 0 dB", all, [](Case& c) {
        c.disturb = [](sim::Mix& m, std::uint64_t s) {
            m.add_at_snr(sim::make_source(sim::SpeechSpec{.pitch_hz = 95.0 + static_cast<double>(s * 13 % 130)},
                                          m.sample_rate_hz(), s),
                         0.0, sim::Mix::kHeardBand, 5.0);
        };
    });
    add("music 0 dB + noise 0 dB", all, [](Case& c) {
        c.disturb = [](sim::Mix& m, std::uint64_t s) {
            m.add_at_snr(sim::make_source(sim::MusicSpec{.beats_per_min = 80.0 + static_cast<double>(s * 17 % 60)},
                                          m.sample_rate_hz(), s),
                         0.0, sim::Mix::kHeardBand, 5.0);
        };
    });
    add("can's hiss +15 dB half of the time", all, [](Case& c) {
        c.disturb = [](sim::Mix& m, std::uint64_t s) {
            sim::SprayCanSpec can;
            for (double t = 4.0; t < 600.0; t += 3.0) can.sprays.push_back({t, 1.5});
            sim::add_spray_can(m, can, 15.0, s);
        };
    });
    add("one cylinder at half strength", all, [](Case& c) {
        c.sound.cylinder_strengths.assign(static_cast<std::size_t>(c.engine.cylinders), 1.0);
        c.sound.cylinder_strengths[1] = 0.5;
    });
    add("one cylinder misfires 30 %", all, [](Case& c) {
        c.sound.misfire_probability.assign(static_cast<std::size_t>(c.engine.cylinders), 0.0);
        c.sound.misfire_probability[1] = 0.3;
    });
    add("one cylinder dead", all, [](Case& c) {
        c.sound.cylinder_strengths.assign(static_cast<std::size_t>(c.engine.cylinders), 1.0);
        c.sound.cylinder_strengths[1] = 0.0;
    });
    add("odd-fire 6 (90/150), stated", {6}, [](Case& c) { c.engine.firing_angles_deg = {0, 90, 240, 330, 480, 570}; });
    add("odd-fire 2 (315/405), stated", {2}, [](Case& c) { c.engine.firing_angles_deg = {0, 315}; });
    add("odd timing not stated (6, 8 deg)", {6}, [](Case& c) { c.unstated_angles_deg = {0, 112, 240, 352, 480, 592}; });
    add("odd-fire 6 (90/150), not stated", {6}, [](Case& c) { c.unstated_angles_deg = {0, 90, 240, 330, 480, 570}; });
    add("two-stroke, 2 and 3 cyl", {2, 3}, [](Case& c) {
        c.engine.strokes = 2;
        c.path.strokes = 2;
    });
    add("surge 60 rpm at 0.5 Hz", all, [](Case& c) { c.path.surge_rpm = 60.0; });
    add("warm-up, 350 rpm falling", all, [](Case& c) {
        c.path.warm_up_rpm = 350.0;
        c.path.warm_up_time_s = 15.0;
    });
    add("steps of 30 rpm", all, [](Case& c) {
        for (int i = 0; i < 8; ++i)
            c.path.loads.push_back(
                {.time_s = 3.0 + 4.0 * i, .change_rpm = 30.0, .time_constant_s = 0.05, .end_s = 5.0 + 4.0 * i});
    });
    add("steady comb", all, [](Case& c) {
        c.path.hunting_rpm = 0.0;
        c.path.wander_rpm = 0.0;
    });
    for (const double rate : {8000.0, 11025.0, 44100.0, 96000.0})
        add("sampled at " + std::to_string(static_cast<int>(rate)) + " Hz", {4},
            [rate](Case& c) { c.sample_rate_hz = rate; });
    add("clipped recording", all, [](Case& c) { c.microphone.clip_level = 0.1; });
    return list;
}

}  // namespace

int main(int argc, char** argv) {
    const auto [engines, seconds, first_seed, only] = bench::engine_run(argc, argv, {3, 40.0, 1, ""});
    std::printf("%-36s %8s %8s %8s %8s %8s %8s %8s\n", "condition", "median %", "p95 %", "gross %", "locked %",
                "cover %", "+-rpm", "95 % at");
    for (const auto& condition : conditions()) {
        if (condition.name.find(only) == std::string::npos) continue;
        std::vector<Case> cases;
        for (const int n : condition.cylinders)
            for (int e = 0; e < engines; ++e) {
                cases.push_back(draw_case(n, first_seed + static_cast<std::uint64_t>(e), seconds));
                condition.change(cases.back());
            }
        std::vector<Figures> results(cases.size());
        std::vector<std::jthread> threads;
        for (std::size_t t = 0; t < 2; ++t)
            threads.emplace_back([&, t] {
                for (std::size_t i = t; i < cases.size(); i += 2) results[i] = run(cases[i]);
            });
        threads.clear();
        Figures f;
        for (const auto& r : results) f.add(r);
        std::printf("%-36s %8.3f %8.3f %8.2f %8.2f %8.2f %8.2f %8.2f\n", condition.name.c_str(),
                    bench::quantile(f.errors_percent, 0.5), bench::quantile(f.errors_percent, 0.95),
                    100.0 * f.gross / f.locked, 100.0 * f.locked / f.readings, 100.0 * f.covered / f.locked,
                    f.half_width_rpm / f.locked, bench::quantile(f.errors_in_widths, 0.95));
        std::fflush(stdout);
        bench::keep_row("tracker", condition.name,
                        {{"median_percent", bench::quantile(f.errors_percent, 0.5)},
                         {"p95_percent", bench::quantile(f.errors_percent, 0.95)},
                         {"gross_percent", 100.0 * f.gross / f.locked},
                         {"locked_percent", 100.0 * f.locked / f.readings},
                         {"covered_percent", 100.0 * f.covered / f.locked},
                         {"half_width_rpm", f.half_width_rpm / f.locked},
                         {"error_p95_half_widths", bench::quantile(f.errors_in_widths, 0.95)}});
    }
    if (!only.empty() && only != "null") return 0;
    std::printf("\n%-36s", "no engine: readings locked, %");
    const std::vector<int> counts{1, 2, 3, 4, 6, 8, 12};
    for (const int n : counts) std::printf(" %6d cyl", n);
    std::printf("\n");
    for (const std::string kind : {"silence", "white noise", "pink noise", "speech", "music", "fan", "mains hum",
                                   "music + noise 0 dB", "fan + noise 0 dB"}) {
        std::printf("%-36s", kind.c_str());
        std::vector<double> shares(counts.size() * static_cast<std::size_t>(engines));
        std::vector<std::jthread> threads;
        for (std::size_t t = 0; t < 2; ++t)
            threads.emplace_back([&, t, engines = engines, first_seed = first_seed, seconds = seconds] {
                for (std::size_t i = t; i < shares.size(); i += 2)
                    shares[i] = run_null(counts[i / static_cast<std::size_t>(engines)], kind,
                                         first_seed + i % static_cast<std::size_t>(engines), 16000.0, seconds);
            });
        threads.clear();
        for (std::size_t n = 0; n < counts.size(); ++n) {
            double sum = 0;
            for (int e = 0; e < engines; ++e)
                sum += shares[n * static_cast<std::size_t>(engines) + static_cast<std::size_t>(e)];
            std::printf(" %10.3f", 100.0 * sum / engines);
            bench::keep_row("tracker", "no engine, " + kind + ", " + std::to_string(counts[n]) + " cyl",
                            {{"locked_percent", 100.0 * sum / engines}});
        }
        std::printf("\n");
    }
    return 0;
}
