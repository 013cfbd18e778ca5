// Reach of the balance on simulated engines: what is found in 30 s of sound, and how often a healthy engine is accused.
//   balance_bench [--engines N] [--seconds S] [--first-seed K] [--only TEXT]
// Developed on seeds 1..; the figures in README.md are from --first-seed 61000.
// Accused  engines with a cylinder called weak or misfiring that is not
// Found    engines whose faulty cylinder is called so
// Strength of the faulty (healthy case: first) cylinder as measured, mean and standard deviation
#include "dsp/balance/balance.hpp"
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/sim/speed_path.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

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
    sim::EngineSoundSpec sound;
    sim::SpeedPathSpec path;
    sim::MicrophoneSpec microphone{.kind = sim::MicrophoneKind::phone};
    double noise_snr_db = 0.0;
    std::size_t fault = 0;  // in firing order
};

Case draw(int cylinders, std::uint64_t seed, double seconds) {
    std::mt19937_64 random(seed * 6151 + static_cast<std::uint64_t>(cylinders));
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    Case c;
    const double mean = 680.0 + 270.0 * uniform(random);
    auto& e = c.sound.engine;
    e.cylinders = cylinders;
    e.idle_low_rpm = std::floor(mean / 50.0) * 50.0 - 50.0;
    e.idle_high_rpm = e.idle_low_rpm + 250.0;
    c.path.duration_s = seconds;
    c.path.mean_rpm = mean;
    c.path.seed = seed;
    c.path.hunting_rpm = 5.0 * uniform(random);
    c.path.hunting_period_s = 3.0 + 5.0 * uniform(random);
    c.path.wander_rpm = 0.5 + 2.0 * uniform(random);
    c.sound.seed = seed * 31 + 7;
    c.sound.sample_rate_hz = 16000.0;
    c.fault = random() % static_cast<std::uint64_t>(cylinders);
    return c;
}

struct Outcome {
    Balance balance;
    double listen_s = 0.0, track_s = 0.0;
    std::size_t first = 0;  // firing of the simulator that the result's first cylinder is
};

Outcome run(const Case& c, double seconds) {
    const sim::SpeedPath path(c.path);
    auto mix = std::make_unique<sim::Mix>(std::make_unique<sim::EngineSound>(c.sound, path));
    if (std::isfinite(c.noise_snr_db))
        mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, c.sound.sample_rate_hz, c.path.seed + 5), c.noise_snr_db,
                        sim::Mix::kHeardBand, 5.0);
    auto heard = sim::through_microphone(std::move(mix), c.microphone);
    const auto x = sim::render_seconds(*heard, seconds);
    // The spark of the first cylinder, so that the answer can be compared with the truth.
    std::vector<double> sparks;
    for (double cycle = 1.0; path.time_at_cycles(cycle) < seconds; cycle += 1.0)
        sparks.push_back(path.time_at_cycles(cycle - 10.0 / 720.0));
    const auto before = bench::own_time_s();
    Outcome out;
    const auto readings = track_idle({.sample_rate_hz = c.sound.sample_rate_hz, .engine = c.sound.engine}, x);
    const auto tracked = bench::own_time_s();
    BalanceEar ear(c.sound.engine, c.sound.sample_rate_hz);
    for (std::size_t i = 0; i < x.size(); i += 4096)
        ear.process(AudioView(x).subspan(i, std::min<std::size_t>(4096, x.size() - i)));
    out.balance = ear.judge(readings, sparks);
    const auto done = bench::own_time_s();
    out.listen_s = (done - tracked);
    out.track_s = (tracked - before);
    return out;
}

enum class Fault { none, half, misfire, half_missing };

struct Condition {
    std::string name;
    std::vector<int> cylinders;
    Fault fault;
    std::function<void(Case&)> change;
};

std::vector<Condition> conditions() {
    std::vector<Condition> list;
    const std::vector<std::pair<Fault, std::string>> faults{
        {Fault::none, "healthy"}, {Fault::half, "half strength"}, {Fault::misfire, "10 % misfires"}};
    for (const auto& [fault, word] : faults) {
        for (const int n : {3, 4, 5, 6, 8, 10, 12})
            list.push_back({word + ", " + std::to_string(n) + " cyl", {n}, fault, {}});
        list.push_back({word + ", odd-fire 6", {6}, fault, [](Case& c) {
                            c.sound.engine.firing_angles_deg = {0, 90, 240, 330, 480, 570};
                        }});
        list.push_back({word + ", 2 cyl", {2}, fault, {}});
        list.push_back({word + ", colour 0.4", {4, 6}, fault, [](Case& c) { c.sound.cylinder_colour = 0.4; }});
        list.push_back({word + ", open air, flat", {4, 6}, fault, [](Case& c) {
                            c.sound.reflections = 0.0;
                            c.microphone.kind = sim::MicrophoneKind::flat;
                        }});
        list.push_back({word + ", 6 dB", {4, 6}, fault, [](Case& c) { c.noise_snr_db = 6.0; }});
        list.push_back({word + ", 8 kHz", {4, 6}, fault, [](Case& c) { c.sound.sample_rate_hz = 8000.0; }});
    }
    for (const int n : {4, 6, 8})
        list.push_back({"50 % misfires, " + std::to_string(n) + " cyl", {n}, Fault::half_missing, {}});
    return list;
}

/// Whether a cylinder with this fault is called so.
bool right(CylinderVerdict v, Fault fault) {
    const bool weak = v == CylinderVerdict::weak, misfires = v == CylinderVerdict::misfires;
    return fault == Fault::half ? weak : fault == Fault::half_missing ? weak || misfires : misfires;
}

}  // namespace

int main(int argc, char** argv) {
    const auto [engines, seconds, first_seed, only] = bench::engine_run(argc, argv, {20, 30.0, 1, ""});
    std::printf("%-28s %7s %7s %7s %7s %9s %7s %7s %7s %7s %6s %6s\n", "condition", "heard%", "accus%", "found%",
                "even%", "strength", "sd", "misf%", "sd", "z sd", "x rt", "track");
    for (const auto& condition : conditions()) {
        if (condition.name.find(only) == std::string::npos) continue;
        std::vector<Case> cases;
        for (const int n : condition.cylinders)
            for (int e = 0; e < engines; ++e) {
                auto c = draw(n, first_seed + static_cast<std::uint64_t>(e), seconds);
                if (condition.change) condition.change(c);
                const auto count = static_cast<std::size_t>(n);
                if (condition.fault == Fault::half) {
                    c.sound.cylinder_strengths.assign(count, 1.0);
                    c.sound.cylinder_strengths[c.fault] = 0.5;
                }
                if (condition.fault == Fault::misfire || condition.fault == Fault::half_missing) {
                    c.sound.misfire_probability.assign(count, 0.0);
                    c.sound.misfire_probability[c.fault] = condition.fault == Fault::misfire ? 0.1 : 0.5;
                }
                cases.push_back(std::move(c));
            }
        std::vector<Outcome> outcomes(cases.size());
        std::vector<std::jthread> threads;
        for (std::size_t t = 0; t < 2; ++t)
            threads.emplace_back([&, t, seconds = seconds] {
                for (std::size_t i = t; i < cases.size(); i += 2) outcomes[i] = run(cases[i], seconds);
            });
        threads.clear();
        double heard = 0, accused = 0, found = 0, even = 0, sum = 0, squares = 0, listen_s = 0, track_s = 0,
               misfire = 0, misfire2 = 0, z = 0, cylinders = 0;
        for (std::size_t k = 0; k < cases.size(); ++k) {
            const auto& b = outcomes[k].balance;
            listen_s += outcomes[k].listen_s;
            track_s += outcomes[k].track_s;
            if (!b.heard) continue;
            heard += 1;
            z += b.single_firing_sd;
            bool wrong = false;
            for (std::size_t i = 0; i < b.cylinders.size(); ++i) {
                const auto v = b.cylinders[i].verdict;
                const bool accuses = v == CylinderVerdict::weak || v == CylinderVerdict::misfires;
                const bool faulty = condition.fault != Fault::none && i == cases[k].fault;
                if (!faulty) wrong = wrong || accuses;
                cylinders += 1;
                even += v == CylinderVerdict::even;
                if (faulty || (condition.fault == Fault::none && i == 0)) {
                    sum += b.cylinders[i].strength;
                    squares += b.cylinders[i].strength * b.cylinders[i].strength;
                    misfire += b.cylinders[i].misfire_percent;
                    misfire2 += b.cylinders[i].misfire_percent * b.cylinders[i].misfire_percent;
                    found += right(v, condition.fault);
                }
            }
            accused += wrong;
        }
        const double n = static_cast<double>(cases.size());
        std::printf("%-28s %7.1f %7.1f %7.1f %7.1f %9.2f %7.2f %7.1f %7.1f %7.2f %6.0f %6.0f\n", condition.name.c_str(),
                    100 * heard / n, 100 * accused / n, 100 * found / n, 100 * even / cylinders, sum / heard,
                    std::sqrt(std::max(0.0, squares / heard - sum * sum / heard / heard)), misfire / heard,
                    std::sqrt(std::max(0.0, misfire2 / heard - misfire * misfire / heard / heard)), z / heard,
                    n * seconds / listen_s, n * seconds / track_s);
        std::fflush(stdout);
        bench::keep_row("balance", condition.name,
                        {{"engines", n},
                         {"heard_percent", 100 * heard / n},
                         {"accused_percent", 100 * accused / n},
                         {"found_percent", 100 * found / n},
                         {"even_percent", 100 * even / cylinders},
                         {"strength", sum / heard},
                         {"misfire_percent", misfire / heard},
                         {"times_real_time", n * seconds / listen_s}});
    }
    return 0;
}
