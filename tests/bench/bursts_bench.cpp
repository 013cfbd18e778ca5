// Prints what the finder of spray-can hiss reaches: found, extra and onset error by level and sampling rate, false
// alarms per hour on disturbers without hiss, and its speed. Usage: bursts_bench [first seed] [scenes]
#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/statistics.hpp"
#include "tests/bench/rows.hpp"
#include "tests/hiss_scenes.hpp"

#include <chrono>
#include <cstdio>
#include <cstdlib>

using namespace hiss_scenes;

namespace {

struct Tally {
    int sprayed = 0;
    int found = 0;
    int reported = 0;
    std::vector<double> onset_error_s;
    std::vector<double> end_error_s;
    double seconds = 0.0;
};

void compare(const std::vector<Burst>& truth, const std::vector<idlehark::HissBurst>& heard, Tally& tally) {
    tally.sprayed += static_cast<int>(truth.size());
    tally.reported += static_cast<int>(heard.size());
    for (const Burst& b : truth)
        for (const auto& h : heard)
            if (std::abs(h.time_s - b.time_s) <= 0.1) {
                ++tally.found;
                tally.onset_error_s.push_back(std::abs(h.time_s - b.time_s));
                tally.end_error_s.push_back(std::abs(h.time_s + h.duration_s - b.time_s - b.duration_s));
                break;
            }
}

double or_zero(std::vector<double>& v, double share) { return v.empty() ? 0.0 : idlehark::stats::quantile(v, share); }

}  // namespace

int main(int argc, char** argv) {
    const auto first = static_cast<std::uint64_t>(argc > 1 ? std::atoll(argv[1]) : 1000);
    const int scenes = argc > 2 ? std::atoi(argv[2]) : 20;
    constexpr double kSeconds = 90.0;

    std::printf("Bursts within 0.1 s of the truth, %d scenes of %.0f s from seed %llu\n", scenes, kSeconds,
                static_cast<unsigned long long>(first));
    std::printf("%8s %9s %8s %8s %8s %12s %12s %10s\n", "rate_hz", "level_db", "sprayed", "found_%", "extra_%",
                "onset_p50_s", "onset_p95_s", "end_p95_s");
    for (const double rate_hz : {48000.0, 16000.0, 8000.0})
        for (const double level_db : {6.0, 0.0, -3.0, -6.0}) {
            Tally t;
            for (int k = 0; k < scenes; ++k) {
                const auto seed = first + static_cast<std::uint64_t>(k);
                const auto plan = burst_plan(kSeconds, seed);
                const Sound engine = engine_sound({.seconds = kSeconds, .rate_hz = rate_hz, .seed = seed});
                compare(plan,
                        idlehark::find_hiss({rate_hz}, to_samples(with_hiss(engine, rate_hz, plan, level_db, seed))),
                        t);
            }
            std::printf("%8.0f %9.0f %8d %8.1f %8.1f %12.3f %12.3f %10.3f\n", rate_hz, level_db, t.sprayed,
                        100.0 * t.found / t.sprayed, 100.0 * (t.reported - t.found) / t.sprayed,
                        or_zero(t.onset_error_s, 0.5), or_zero(t.onset_error_s, 0.95), or_zero(t.end_error_s, 0.95));
            std::fflush(stdout);
            char name[48];
            std::snprintf(name, sizeof name, "%.0f Hz, %+.0f dB", rate_hz, level_db);
            idlehark::bench::keep_row("bursts", name,
                                      {{"sprayed", static_cast<double>(t.sprayed)},
                                       {"found_percent", 100.0 * t.found / t.sprayed},
                                       {"extra_percent", 100.0 * (t.reported - t.found) / t.sprayed},
                                       {"onset_median_s", or_zero(t.onset_error_s, 0.5)},
                                       {"onset_p95_s", or_zero(t.onset_error_s, 0.95)}});
        }

    std::printf("\nFalse alarms per hour without hiss (%.0f min each)\n%12s", scenes * kSeconds / 60.0, "rate_hz");
    for (const char* name : kDisturberNames) std::printf(" %12s", name);
    std::printf("\n");
    for (const double rate_hz : {48000.0, 16000.0, 8000.0}) {
        std::printf("%12.0f", rate_hz);
        for (std::size_t d = 0; d < kDisturberNames.size(); ++d) {
            int alarms = 0;
            for (int k = 0; k < scenes; ++k) {
                const auto x =
                    disturbed(static_cast<Disturber>(d), kSeconds, rate_hz, first + static_cast<std::uint64_t>(k));
                alarms += static_cast<int>(idlehark::find_hiss({rate_hz}, to_samples(x)).size());
            }
            std::printf(" %12.1f", alarms * 3600.0 / (scenes * kSeconds));
            std::fflush(stdout);
            char name[64];
            std::snprintf(name, sizeof name, "%.0f Hz, no hiss but %s", rate_hz, kDisturberNames[d]);
            idlehark::bench::keep_row("bursts", name,
                                      {{"false_alarms_per_hour", alarms * 3600.0 / (scenes * kSeconds)}});
        }
        std::printf("\n");
    }

    const auto x = to_samples(engine_sound({.seconds = 120.0, .rate_hz = 48000.0, .seed = first}));
    const auto start = std::chrono::steady_clock::now();
    const auto found = idlehark::find_hiss({48000.0}, x);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    std::printf("\nSpeed at 48 kHz: %.0f times real time (%zu found)\n", 120.0 / took.count(), found.size());
    idlehark::bench::keep_row("bursts", "speed at 48 kHz", {{"times_real_time", 120.0 / took.count()}});
}
