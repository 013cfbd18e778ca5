// What listening and recording cost, and how soon a figure is there. Stereo 48 kHz through ring, recorder and analysis.
//   latency   from the submit() with which the tracker can give a reading (found beforehand, piece by piece) to the
//             reading in the main thread's hands, at the pace of a device (10 ms pieces); over one minute
//   load      processor time of the whole program over that minute
//   soak      two hours of sound as fast as the ring takes it: pace, drops, resident memory at the tenth and at the end
// usage: live_bench [SOAK_HOURS] (default 2); writes its recording to a scratch folder and removes it
#include "dsp/sim/session.hpp"
#include "src/live/live_session.hpp"
#include "src/recording/sample24.hpp"
#include "tests/bench/rows.hpp"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>
#include <vector>

#include <sys/resource.h>
#include <unistd.h>

using namespace idlehark;

namespace {

using Clock = std::chrono::steady_clock;
constexpr double kRate_hz = 48000.0;
constexpr std::size_t kPiece_frames = 480;

double processor_s() {
    rusage use{};
    getrusage(RUSAGE_SELF, &use);
    return static_cast<double>(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           1e-6 * static_cast<double>(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

double resident_mib() {
    std::ifstream statm{"/proc/self/statm"};
    double whole = 0.0;
    double resident = 0.0;
    statm >> whole >> resident;
    return resident * static_cast<double>(sysconf(_SC_PAGESIZE)) / 1048576.0;
}

struct Bench {
    std::filesystem::path folder;
    IdleTrackerConfig tracker;
    std::vector<float> stereo;  // one minute, played round and round
};

Recorder open_recorder(const Bench& bench, const char* name) {
    RecordingSettings settings;
    settings.channels = 2;
    settings.sample_rate_hz = kRate_hz;
    auto recorder = Recorder::create((bench.folder / name).string(), settings);
    if (!recorder) {
        std::printf("%s\n", recorder.error().what.c_str());
        std::exit(1);
    }
    return std::move(recorder.value());
}

const float* piece(const Bench& bench, std::uint64_t at_frame) {
    return bench.stereo.data() + 2 * (at_frame % (bench.stereo.size() / 2));
}

/// For each reading, the piece with which the tracker hands it out.
std::vector<std::size_t> pieces_that_complete_readings(const Bench& bench, std::size_t pieces) {
    IdleTracker tracker{bench.tracker};
    std::vector<std::size_t> ready_at;
    std::vector<float> mono(kPiece_frames);
    for (std::size_t i = 0; i < pieces; ++i) {
        const float* stereo = piece(bench, i * kPiece_frames);
        for (std::size_t k = 0; k < kPiece_frames; ++k) mono[k] = from_24_bits(to_24_bits(stereo[2 * k]));
        ready_at.insert(ready_at.end(), tracker.process(mono).size(), i);
    }
    return ready_at;
}

void latency_and_load(const Bench& bench, double seconds) {
    auto recorder = open_recorder(bench, "minute.flac");
    Capture capture{2};
    LiveSession session{
        capture, {.sample_rate_hz = kRate_hz, .microphone_channel = 1, .tracker = bench.tracker}, &recorder};
    const auto pieces = static_cast<std::size_t>(seconds * 100.0);
    std::vector<Clock::time_point> submitted(pieces);
    const auto ready_at = pieces_that_complete_readings(bench, pieces);
    const double before_s = processor_s();
    const auto start = Clock::now();
    std::jthread device{[&] {
        for (std::size_t i = 0; i < pieces; ++i) {
            std::this_thread::sleep_until(start + std::chrono::milliseconds{10} * (i + 1));
            submitted[i] = Clock::now();
            capture.submit(piece(bench, i * kPiece_frames), kPiece_frames);
        }
    }};
    std::vector<Clock::time_point> readings;
    while (Clock::now() < start + std::chrono::duration<double>(seconds)) {
        const auto news = session.look(std::chrono::milliseconds{40});
        const auto now = Clock::now();
        readings.insert(readings.end(), news.readings.size(), now);
    }
    device.join();
    const double load = (processor_s() - before_s) / std::chrono::duration<double>(Clock::now() - start).count();
    static_cast<void>(session.finish());
    static_cast<void>(recorder.finish("bench"));
    std::vector<double> late_ms;
    for (std::size_t k = 0; k < std::min(readings.size(), ready_at.size()); ++k)
        late_ms.push_back(1e3 * std::chrono::duration<double>(readings[k] - submitted[ready_at[k]]).count());
    std::sort(late_ms.begin(), late_ms.end());
    if (late_ms.empty()) return;
    std::printf("analysis window reaches %.2f s past a reading's moment\n", session.latency_s());
    std::printf("latency on top of that: median %.1f ms, 95th percentile %.1f ms, worst %.1f ms (%zu readings)\n",
                late_ms[late_ms.size() / 2], late_ms[late_ms.size() * 95 / 100], late_ms.back(), late_ms.size());
    std::printf("load while listening and recording FLAC: %.1f %% of one core; resident %.1f MiB\n", 100.0 * load,
                resident_mib());
    bench::keep_row("live", "latency and load",
                    {{"window_s", session.latency_s()},
                     {"median_ms", late_ms[late_ms.size() / 2]},
                     {"p95_ms", late_ms[late_ms.size() * 95 / 100]},
                     {"worst_ms", late_ms.back()},
                     {"load_percent_of_a_core", 100.0 * load}});
}

void soak(const Bench& bench, double hours) {
    auto recorder = open_recorder(bench, "soak.flac");
    Capture capture{2};
    LiveSession session{
        capture, {.sample_rate_hz = kRate_hz, .microphone_channel = 1, .tracker = bench.tracker}, &recorder};
    const auto frames = static_cast<std::uint64_t>(hours * 3600.0 * kRate_hz);
    const auto start = Clock::now();
    const double before_s = processor_s();
    double early_mib = 0.0;
    std::uint64_t readings = 0;
    for (std::uint64_t at = 0; at < frames; at += kPiece_frames) {
        while (capture.nearly_full()) readings += session.look(std::chrono::milliseconds{2}).readings.size();
        capture.submit(piece(bench, at), kPiece_frames);
        if (early_mib == 0.0 && at > frames / 10) early_mib = resident_mib();
    }
    const auto news = session.finish();
    readings += news.readings.size();
    const double took_s = std::chrono::duration<double>(Clock::now() - start).count();
    static_cast<void>(recorder.finish("bench"));
    std::printf(
        "soak: %.2f h of sound in %.0f s, %.0f times real time (%.1f %% of one core at real time); %llu frames "
        "dropped, %llu readings\n",
        hours, took_s, hours * 3600.0 / took_s, 100.0 * (processor_s() - before_s) / (hours * 3600.0),
        static_cast<unsigned long long>(news.losses.dropped_frames), static_cast<unsigned long long>(readings));
    std::printf("resident: %.1f MiB after a tenth, %.1f MiB at the end\n", early_mib, resident_mib());
    bench::keep_row("live", "soak",
                    {{"hours", hours},
                     {"times_real_time", hours * 3600.0 / took_s},
                     {"dropped_frames", static_cast<double>(news.losses.dropped_frames)},
                     {"resident_at_a_tenth_mib", early_mib},
                     {"resident_at_the_end_mib", resident_mib()}});
}

}  // namespace

int main(int argc, char** argv) {
    Bench bench;
    bench.folder = std::filesystem::temp_directory_path() / ("idlehark-live-bench-" + std::to_string(getpid()));
    std::filesystem::create_directories(bench.folder);
    {
        auto spec = sim::draw_engine(901, kRate_hz);
        bench.tracker.sample_rate_hz = kRate_hz;
        bench.tracker.engine = spec.engine;
        bench.tracker.engine.idle_low_rpm = 600.0;
        bench.tracker.engine.idle_high_rpm = 1100.0;
        sim::EngineSound engine{spec, sim::SpeedPath{std::vector{850.0, 850.0}}};
        for (const float v : sim::render_seconds(engine, 60.0)) {
            bench.stereo.push_back(v);
            bench.stereo.push_back(0.5F * v);
        }
    }
    latency_and_load(bench, 60.0);
    soak(bench, argc > 1 ? std::atof(argv[1]) : 2.0);
    std::filesystem::remove_all(bench.folder);
    return 0;
}
