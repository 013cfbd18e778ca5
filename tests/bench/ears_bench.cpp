// How long one waits for injectors, hiss survey and balance: the commands' own work, files read included, by the clock
// and by the processors' time. Every row is the middle of several runs, after one that warms up.
//   ears_bench [--runs N] [--seconds S] [--first-seed K]
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "src/analysis/balance_check.hpp"
#include "src/analysis/hiss_check.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"
#include "tests/hiss_spots.hpp"
#include "tests/injector_sets.hpp"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>
#include <thread>

using namespace idlehark;

namespace {

namespace fs = std::filesystem;
constexpr double kRate_hz = 48000.0;

class Folder {
   public:
    Folder() {
        auto place = (fs::temp_directory_path() / "ears_bench_XXXXXX").string();
        if (!mkdtemp(place.data())) throw std::runtime_error("cannot make a folder in " + place);
        path_ = place;
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code ignored;
        fs::remove_all(path_, ignored);
    }
    [[nodiscard]] std::string keep(const std::string& name, AudioView sound) const {
        const auto path = (path_ / name).string();
        auto file = SoundWriter::open(path, kRate_hz);
        if (!file || !file.value().write(sound)) throw std::runtime_error("cannot write " + path);
        return path;
    }

   private:
    fs::path path_;
};

std::string idle_file(const Folder& folder, double seconds, std::uint64_t seed, double snr_db) {
    sim::SpeedPathSpec spec;
    spec.duration_s = seconds;
    spec.mean_rpm = 820.0;
    spec.hunting_rpm = 4.0;
    spec.wander_rpm = 1.5;
    spec.seed = seed;
    sim::EngineSoundSpec sound;
    sound.seed = seed;
    const sim::SpeedPath path{spec};
    auto mix = std::make_unique<sim::Mix>(std::make_unique<sim::EngineSound>(sound, path));
    mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, kRate_hz, seed + 5), snr_db, sim::Mix::kHeardBand, 5.0);
    auto heard = sim::through_microphone(std::move(mix), {.kind = sim::MicrophoneKind::phone});
    return folder.keep("idle" + std::to_string(static_cast<int>(snr_db)) + ".wav",
                       sim::render_seconds(*heard, seconds));
}

HissRequest survey_files(const Folder& folder, double seconds, std::uint64_t seed) {
    HissRequest request;
    request.engine.idle_low_rpm = 700.0;
    request.engine.idle_high_rpm = 950.0;
    for (std::size_t i = 0; i < 4; ++i) {
        test::ProbeSpot spot;
        if (i == 2) spot.leak_db = 6.0;
        const auto name = "spot" + std::to_string(i);
        request.recordings.push_back(
            {name, folder.keep(name + ".wav",
                               test::probe_sound(spot, request.engine, seed, seed * 100 + i, kRate_hz, seconds))});
    }
    return request;
}

InjectorRequest set_files(const Folder& folder, const test::SetCondition& condition, double seconds,
                          std::uint64_t seed) {
    auto set = test::draw_set(condition, seed);
    for (auto& path : set.paths) path.duration_s = seconds;
    InjectorRequest request;
    request.engine = set.spec.engine;
    for (int c = 1; c <= condition.cylinders; ++c)
        request.recordings.emplace_back(
            c, folder.keep(condition.name + std::to_string(c) + ".wav", test::record(set, condition, c).samples));
    return request;
}

/// `work` says whether there was an answer.
void row(const std::string& name, double sound_s, int runs, const std::function<bool()>& work) {
    std::vector<double> clock_s, processor_s;
    for (int run = 0; run <= runs; ++run) {
        const auto start = std::chrono::steady_clock::now();
        const auto ticks = std::clock();
        if (!work()) throw std::runtime_error(name + ": no answer");
        if (run == 0) continue;
        processor_s.push_back(static_cast<double>(std::clock() - ticks) / CLOCKS_PER_SEC);
        clock_s.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    }
    const double by_clock = sound_s / stats::median(clock_s);
    const double by_processor = sound_s / stats::median(processor_s);
    std::printf("%-40s %8.0f %10.0f %12.0f\n", name.c_str(), sound_s, by_clock, by_processor);
    std::fflush(stdout);
    bench::keep_row("ears", name,
                    {{"sound_s", sound_s},
                     {"times_real_time_by_the_clock", by_clock},
                     {"times_real_time_by_processor_time", by_processor}});
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const int runs = words.count("--runs", 7);
    const double seconds = words.number("--seconds", 15.0);  // of each recording of a set; the idle has four times that
    const auto seed = words.seed("--first-seed", 1);
    words.done();
    const Folder folder;
    std::printf("48 kHz WAV files, 4 cylinders, %u processors\n", std::thread::hardware_concurrency());
    std::printf("%-40s %8s %10s %12s\n", "times real time", "sound s", "by clock", "by processor");
    for (const double snr_db : {20.0, 0.0}) {
        BalanceRequest request;
        request.listen.path = idle_file(folder, 4.0 * seconds, seed, snr_db);
        request.listen.engine.idle_low_rpm = 700.0;
        request.listen.engine.idle_high_rpm = 950.0;
        const auto at = ", " + std::to_string(static_cast<int>(snr_db)) + " dB over the noise";
        row("idle speed" + at, 4.0 * seconds, runs, [&] { return bool(listen_through(request.listen, {})); });
        row("balance" + at, 4.0 * seconds, runs,
            [&] { return std::holds_alternative<BalanceView>(check_balance(request, {})); });
    }
    const auto survey = survey_files(folder, seconds, seed);
    row("hiss, four spots", 4.0 * seconds, runs,
        [&] { return std::holds_alternative<HissView>(check_hiss(survey, {})); });
    const test::SetCondition conditions[] = {{.name = "sequential"},
                                             {.name = "simultaneous", .injection = Injection::simultaneous},
                                             {.name = "no firing heard", .firing = false}};
    for (const auto& condition : conditions) {
        const auto set = set_files(folder, condition, seconds, seed);
        row("four injectors, " + condition.name, 4.0 * seconds, runs,
            [&] { return std::holds_alternative<InjectorView>(judge_injectors(set, {})); });
    }
    return 0;
}
