// Reach of the hiss survey on simulated probes: eight spots a survey, every place with its own loudness of the engine
// (1 dB), gains 6 dB apart at random.
//   hiss_bench [--surveys N] [--seconds S] [--first-seed K]
// Developed on seeds 1..; the figures in README.md are from --first-seed 5001.
// Wrong    surveys in which a spot without a leak is said to stand out
// Found    surveys in which the leak stands out;  First: in which it is ranked first
// Steady   surveys in which a spot is called loud and steady;  Open: loud, its swell open
#include "dsp/hiss/hiss_survey.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"
#include "tests/hiss_spots.hpp"

#include <algorithm>
#include <cstdio>
#include <random>
#include <string>
#include <thread>

using namespace idlehark;

namespace {

struct Condition {
    std::string name;
    double leak_db = sim::kOff_db, depth = 0.5, fan_db = sim::kOff_db, injector_db = sim::kOff_db;
    int cylinders = 4;
    double rate_hz = 32000.0;
    bool declared = false;
};

struct Counts {
    double wrong = 0, found = 0, first = 0, steady = 0, open = 0, level_db = 0, follow_db = 0, listen_s = 0, known = 0;
};

Counts survey(const Condition& c, std::uint64_t seed, double seconds) {
    std::mt19937_64 random(seed * 911 + 5);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    Engine engine;
    engine.cylinders = c.cylinders;
    engine.idle_low_rpm = 650.0 + 100.0 * uniform(random);
    engine.idle_high_rpm = engine.idle_low_rpm + 250.0;
    constexpr std::size_t kSpots = 8;
    std::vector<SpotHiss> spots;
    std::vector<double> gains;
    Counts out;
    for (std::size_t i = 0; i < kSpots; ++i) {
        test::ProbeSpot spot;
        spot.place_db = normal(random);
        spot.gain_db = uniform(random) < 0.5 ? 0.0 : 6.0;
        if (i == 3) spot.leak_db = c.leak_db, spot.leak_depth = c.depth;
        if (i == 5) spot.fan_db = c.fan_db, spot.injector_db = c.injector_db;
        const auto x = test::probe_sound(spot, engine, seed * 17 + 3, seed * 100 + i, c.rate_hz, seconds);
        const auto readings = track_idle({.sample_rate_hz = c.rate_hz, .engine = engine}, x);
        const auto before = bench::own_time_s();
        HissEar ear(engine, c.rate_hz);
        ear.process(x);
        spots.push_back(ear.finish(readings));
        out.listen_s += (bench::own_time_s() - before);
        gains.push_back(spot.gain_db);
    }
    const auto result = survey_hiss(spots, c.declared ? gains : std::vector<double>{});
    std::size_t first = 0;
    const auto key = [&](std::size_t i) {
        const auto v = result[i].verdict;
        return std::pair{v == HissVerdict::stands_out                                   ? 2
                         : v == HissVerdict::loud_steady || v == HissVerdict::loud_open ? 1
                                                                                        : 0,
                         result[i].level_db};
    };
    for (std::size_t i = 0; i < kSpots; ++i) {
        if (key(i) > key(first)) first = i;
        if (result[i].verdict == HissVerdict::stands_out) (i == 3 && c.leak_db > -100.0 ? out.found : out.wrong) = 1;
        if (result[i].verdict == HissVerdict::loud_steady) out.steady = 1;
        if (result[i].verdict == HissVerdict::loud_open) out.open = 1;
    }
    out.first = first == 3;
    const std::size_t shown = c.leak_db > -100.0 ? 3 : 5;
    out.level_db = result[shown].level_db;
    out.follow_db = result[shown].follow_db;
    return out;
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const int surveys = words.count("--surveys", 20);
    const double seconds = words.number("--seconds", 10.0);
    const auto first_seed = words.seed("--first-seed", 1);
    words.done();
    std::vector<Condition> list(1, {"nothing"});
    const auto add = [&](std::string name) -> Condition& {
        list.push_back({std::move(name)});
        return list.back();
    };
    for (const double db : {3.0, 6.0, 10.0}) add("leak " + std::to_string(static_cast<int>(db)) + " dB").leak_db = db;
    add("leak 10 dB, depth 0.2").leak_db = 10.0, list.back().depth = 0.2;
    add("fan 6 dB").fan_db = 6.0;
    add("fan 12 dB").fan_db = 12.0;
    add("injector near, 20 dB").injector_db = 20.0;
    add("fan 12 dB, declared").fan_db = 12.0, list.back().declared = true;
    add("injector near, 10 dB").injector_db = 10.0;
    add("leak 6 dB, fan 12 dB").leak_db = 6.0, list.back().fan_db = 12.0;
    add("leak 6 dB, injector near").leak_db = 6.0, list.back().injector_db = 10.0;
    add("leak 6 dB, 6 cyl").leak_db = 6.0, list.back().cylinders = 6;
    add("leak 6 dB, 12 cyl").leak_db = 6.0, list.back().cylinders = 12;
    add("leak 6 dB, 8 kHz").leak_db = 6.0, list.back().rate_hz = 8000.0;
    add("leak 6 dB, declared").leak_db = 6.0, list.back().declared = true;
    add("nothing, declared").declared = true;
    std::printf("%-28s %7s %7s %7s %8s %6s %9s %10s %6s\n", "condition", "wrong%", "found%", "first%", "steady%",
                "open%", "level dB", "follow dB", "x rt");
    for (const auto& c : list) {
        std::vector<Counts> counts(static_cast<std::size_t>(surveys));
        std::vector<std::jthread> threads;
        for (std::size_t t = 0; t < 2; ++t)
            threads.emplace_back([&, t] {
                for (std::size_t i = t; i < counts.size(); i += 2) counts[i] = survey(c, first_seed + i, seconds);
            });
        threads.clear();
        Counts s;
        for (const auto& k : counts) {
            s.wrong += k.wrong, s.found += k.found, s.first += k.first, s.steady += k.steady, s.open += k.open,
                s.listen_s += k.listen_s;
            if (!std::isfinite(k.level_db) || !std::isfinite(k.follow_db)) continue;
            s.level_db += k.level_db, s.follow_db += k.follow_db, s.known += 1;
        }
        const double n = static_cast<double>(counts.size());
        std::printf("%-28s %7.1f %7.1f %7.1f %8.1f %6.1f %9.1f %10.1f %6.0f\n", c.name.c_str(), 100 * s.wrong / n,
                    100 * s.found / n, 100 * s.first / n, 100 * s.steady / n, 100 * s.open / n, s.level_db / s.known,
                    s.follow_db / s.known, 8 * n * seconds / s.listen_s);
        std::fflush(stdout);
        bench::keep_row("hiss", c.name,
                        {{"surveys", n},
                         {"wrong_percent", 100 * s.wrong / n},
                         {"found_percent", 100 * s.found / n},
                         {"first_percent", 100 * s.first / n},
                         {"steady_percent", 100 * s.steady / n},
                         {"open_percent", 100 * s.open / n},
                         {"times_real_time", 8 * n * seconds / s.listen_s}});
    }
    return 0;
}
