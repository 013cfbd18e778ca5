// What a comparison of two visits says of what only sound tells: half orders, hiss, injectors. Pairs of a minute's idle
// and an injector set, rendered to files and compared as `idlehark compare` does.
//   visits_bench [--pairs N] [--seed S]
// Between the visits the microphone stands elsewhere (other reflections), the idle differs by 10 rpm (standard
// deviation) and 20 % of its unrest, the probe's contact by 1 dB, and every random number is another. Changed: pairs
// with that figure called better, worse or changed although nothing was mended; a pair may have a fault in both visits.
// Covered: 95 % intervals of the differences that hold 0. Proven: mended faults called better. The fault of each kind:
// one cylinder that misfires in 15 % of its cycles (half orders); 8 dB more hiss of the intake (hiss); an injector
// that misses 10 % of its clicks.
#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/random.hpp"
#include "dsp/sim/session.hpp"
#include "src/analysis/compare_visits.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <stdexcept>
#include <string>

using namespace idlehark;

namespace {

constexpr double kIdle_s = 60.0;
constexpr double kIdleRate_hz = 32000.0;
constexpr double kClicks_s = 12.0;

enum class Fault { none, misfire, hiss, clicks };

void write(const std::string& path, double rate_hz, AudioView samples) {
    auto file = SoundWriter::open(path, rate_hz);
    if (!file || !file.value().write(samples)) throw std::runtime_error(path + " cannot be written");
}

/// One engine, drawn; what differs between visits is drawn again for each.
struct Car {
    sim::EngineSoundSpec sound;
    sim::SpeedPathSpec idle;
    std::uint64_t seed;
    std::size_t odd;  // the cylinder and injector that has the fault
    double snr_db;
};

Car draw_car(std::uint64_t seed) {
    Car car{.sound = sim::draw_engine(seed, kIdleRate_hz), .idle = {}, .seed = seed, .odd = 0, .snr_db = 0.0};
    auto random = sim::sub_stream(seed, "visits bench");
    const auto n = static_cast<std::size_t>(car.sound.engine.cylinders);
    car.sound.misfire_probability.assign(n, 0.0);
    car.odd = random() % n;
    car.snr_db = sim::uniform(random, 3.0, 15.0);
    const auto& e = car.sound.engine;
    car.idle.mean_rpm = 0.5 * (e.idle_low_rpm + e.idle_high_rpm);
    car.idle.hunting_rpm = sim::uniform(random, 2.0, 8.0);
    car.idle.wander_rpm = sim::uniform(random, 0.5, 2.0);
    return car;
}

VisitRequest record(const Car& car, std::uint64_t visit, Fault fault, const std::string& folder) {
    auto random = sim::sub_stream(car.seed, "visit " + std::to_string(visit));
    auto sound = car.sound;
    sound.visit_seed = random();
    if (fault == Fault::misfire) sound.misfire_probability[car.odd] = 0.15;
    if (fault == Fault::hiss) sound.flow_db += 8.0;
    auto idle = car.idle;
    idle.duration_s = kIdle_s;
    idle.strokes = sound.engine.strokes;
    idle.seed = random();
    idle.mean_rpm += 10.0 * sim::gaussian(random);
    idle.hunting_rpm *= std::exp(0.2 * sim::gaussian(random));
    idle.wander_rpm *= std::exp(0.1 * sim::gaussian(random));
    sim::EngineSound engine{sound, sim::SpeedPath{idle}};
    auto samples = sim::render_seconds(engine, kIdle_s);
    double power = 0.0;
    for (const float x : samples) power += static_cast<double>(x) * static_cast<double>(x);
    const double noise = std::sqrt(power / static_cast<double>(samples.size())) * std::pow(10.0, -car.snr_db / 20.0);
    for (auto& x : samples) x += static_cast<float>(noise * sim::gaussian(random));

    VisitRequest request;
    const auto name = folder + "/" + std::to_string(visit);
    request.listen = {.path = name + ".wav", .channel = 1, .engine = sound.engine, .hop_s = 0.1};
    write(request.listen.path, kIdleRate_hz, samples);
    for (int c = 1; c <= sound.engine.cylinders; ++c) {
        sim::InjectorProbeSpec probe;
        probe.engine = sound.engine;
        probe.seed = car.seed;
        probe.visit_seed = random();
        probe.cylinder = c;
        probe.health.resize(static_cast<std::size_t>(sound.engine.cylinders));
        if (fault == Fault::clicks) probe.health[car.odd].miss_probability = 0.1;
        idle.duration_s = kClicks_s;
        idle.seed = random();
        const auto path = name + "-" + std::to_string(c) + ".wav";
        write(path, probe.sample_rate_hz, sim::record_injector(probe, sim::SpeedPath{idle}).samples);
        request.injectors.emplace_back(c, path);
    }
    return request;
}

struct Count {
    int changed = 0, covered = 0, of = 0;
    double log_square = 0.0;  // of after over before
};

/// "injector 3, jitter" counts as "injector, jitter".
std::string kind_of(const std::string& figure) {
    const auto comma = figure.find(',');
    return figure.starts_with("injector") && comma != std::string::npos ? "injector" + figure.substr(comma) : figure;
}

HeardVisit heard(const VisitRequest& request) {
    auto outcome = hear_visit(request, {});
    if (const auto* failure = std::get_if<VisitFailure>(&outcome)) throw std::runtime_error(failure->error.what);
    return std::move(std::get<HeardVisit>(outcome));
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const int pairs = words.count("--pairs", 60);
    const auto seed = words.seed("--seed", 6000);
    words.done();
    auto pattern = (std::filesystem::temp_directory_path() / "idlehark-bench-XXXXXX").string();
    if (!mkdtemp(pattern.data())) return 1;
    std::map<std::string, Count> figures;
    std::map<Fault, std::array<int, 3>> mended;  // better, something else called changed, of
    int any = 0, failed = 0;
    for (int k = 0; k < pairs; ++k) {
        const auto car = draw_car(seed + static_cast<std::uint64_t>(k));
        const auto fault = static_cast<Fault>(k % 4);
        try {
            const auto before = heard(record(car, 1, fault, pattern));
            const auto same = heard(record(car, 2, fault, pattern));
            const auto none = compare_heard(before, same, {}, false);
            if (const auto* view = std::get_if<CompareView>(&none)) {
                bool some = false;
                for (const auto& row : view->rows) {
                    if (!std::isfinite(row.change.difference)) continue;
                    auto& count = figures[kind_of(row.figure)];
                    const auto v = row.change.verdict;
                    const bool changed = v != ChangeVerdict::no_proven && v != ChangeVerdict::unknown;
                    count.changed += changed;
                    count.covered += row.change.low <= 0.0 && row.change.high >= 0.0;
                    ++count.of;
                    if (const double ratio = row.after / row.before; row.unit != "dB" && ratio > 0.0)
                        count.log_square += std::log(ratio) * std::log(ratio);
                    some = some || changed;
                }
                any += some;
            }
            if (fault == Fault::none) continue;
            const auto sound = heard(record(car, 3, Fault::none, pattern));
            const auto change = compare_heard(before, sound, {}, false);
            if (const auto* view = std::get_if<CompareView>(&change)) {
                const std::string wanted =
                    fault == Fault::misfire ? "half orders"
                    : fault == Fault::hiss
                        ? "hiss"
                        : "injector " + std::to_string(before.injectors->injectors[car.odd].reading.cylinder) +
                              ", missed clicks";
                auto& [better, others, of] = mended[fault];
                bool other = false;
                for (const auto& row : view->rows) {
                    if (row.figure == wanted)
                        better += row.change.verdict == ChangeVerdict::better;
                    else
                        other = other || row.change.verdict == ChangeVerdict::better ||
                                row.change.verdict == ChangeVerdict::worse ||
                                row.change.verdict == ChangeVerdict::changed;
                }
                others += other;
                ++of;
            }
        } catch (const std::exception& e) {
            ++failed;
            std::fprintf(stderr, "pair %d: %s\n", k, e.what());
        }
        std::fprintf(stderr, "\r%d of %d pairs", k + 1, pairs);
    }
    std::fprintf(stderr, "\n");
    std::filesystem::remove_all(pattern);
    std::printf("%d pairs from seed %llu, %d of them without an answer\n", pairs, static_cast<unsigned long long>(seed),
                failed);
    std::printf("nothing mended: anything called changed in %d of %d\n", any, pairs - failed);
    std::printf("%-30s %8s %8s %9s %16s\n", "figure", "changed", "of", "covered", "rms log of ratio");
    for (const auto& [name, c] : figures) {
        std::printf("%-30s %8d %8d %7.1f %% %16.2f\n", name.c_str(), c.changed, c.of, 100.0 * c.covered / c.of,
                    std::sqrt(c.log_square / c.of));
        bench::keep_row("visits", "nothing mended, " + name,
                        {{"called_changed", static_cast<double>(c.changed)},
                         {"of", static_cast<double>(c.of)},
                         {"covered_percent", 100.0 * c.covered / c.of}});
    }
    const std::map<Fault, const char*> names{
        {Fault::misfire, "15 % misfires"}, {Fault::hiss, "8 dB of hiss"}, {Fault::clicks, "10 % missed clicks"}};
    for (const auto& [fault, t] : mended) {
        std::printf("%s mended: proven %d of %d; something else called changed %d\n", names.at(fault), t[0], t[2],
                    t[1]);
        bench::keep_row("visits", std::string{names.at(fault)} + " mended",
                        {{"proven", static_cast<double>(t[0])},
                         {"of", static_cast<double>(t[2])},
                         {"something_else_called_changed", static_cast<double>(t[1])}});
    }
    return 0;
}
