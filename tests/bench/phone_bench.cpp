// What lossy coding does to the idle tracker: simulated engines, written as WAV, coded by Debian's ffmpeg, sox
// and opencore-amr the way telephones do, read back through SoundFile and tracked. Nothing was tuned on any of it.
//   phone_bench [--engines N] [--seconds S] [--first-seed K]
// Columns as in tracker_bench; `against wav` is the median difference of a reading from that of the uncoded file.
#include "dsp/idle_tracker.hpp"
#include "dsp/sim/session.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <dlfcn.h>

using namespace idlehark;

namespace {

struct Coding {
    const char* name;
    const char* make;  // in the scratch folder, from in.wav (48 kHz)
    const char* file;
};
constexpr Coding kCodings[] = {
    {"WAV, 48 kHz", "true", "in.wav"},
    {"WAV, 8 kHz", "sox in.wav -r 8000 narrow.wav", "narrow.wav"},
    {"AAC 64 kbit/s (m4a)", "ffmpeg -v error -y -i in.wav -c:a aac -b:a 64k x.m4a", "x.m4a"},
    {"Opus 24 kbit/s (webm)", "ffmpeg -v error -y -i in.wav -c:a libopus -b:a 24k x.webm", "x.webm"},
    {"AMR-NB 12.2 kbit/s (3gp)", "ffmpeg -v error -y -i 12.amr -c copy x.3gp", "x.3gp"},
    {"AMR-NB 4.75 kbit/s (3gp)", "ffmpeg -v error -y -i 4.amr -c copy y.3gp", "y.3gp"},
    {"AMR-NB 12.2, pauses cut", "sox in.wav -r 8000 -C 7 x.amr-nb && mv x.amr-nb x.amr", "x.amr"},
};

/// AMR-NB without sox's habit of leaving out what is no speech (which an idle is): by the library that sox uses too.
bool write_amr(const std::string& path, const std::string& narrow_wave, int mode) {
    static void* library = dlopen("libopencore-amrnb.so.0", RTLD_NOW);
    if (!library) return false;
    const auto init = reinterpret_cast<void* (*)(int)>(dlsym(library, "Encoder_Interface_init"));
    const auto leave = reinterpret_cast<void (*)(void*)>(dlsym(library, "Encoder_Interface_exit"));
    const auto encode = reinterpret_cast<int (*)(void*, int, const short*, unsigned char*, int)>(
        dlsym(library, "Encoder_Interface_Encode"));
    const auto sound = read_sound(narrow_wave);
    if (!sound || !init || !leave || !encode) return false;
    std::ofstream out{path, std::ios::binary};
    out << "#!AMR\n";
    void* state = init(0);
    const auto& x = sound.value().samples;
    for (std::size_t i = 0; i + 160 <= x.size(); i += 160) {
        std::array<short, 160> speech{};
        for (std::size_t k = 0; k < 160; ++k)
            speech[k] = static_cast<short>(std::lround(32767.0 * std::clamp(static_cast<double>(x[i + k]), -1.0, 1.0)));
        std::array<unsigned char, 64> coded{};
        const int bytes = encode(state, mode, speech.data(), coded.data(), 0);
        out.write(reinterpret_cast<const char*>(coded.data()), bytes);
    }
    leave(state);
    return out.good();
}

struct Figures {
    std::vector<double> errors_percent, against_wav_rpm;
    double gross = 0, covered = 0, locked = 0, readings = 0;
};

std::vector<RpmReading> track(const std::string& path, const Engine& engine) {
    const auto sound = read_sound(path);
    if (!sound) {
        std::fprintf(stderr, "%s\n", sound.error().what.c_str());
        std::exit(2);
    }
    return track_idle({.sample_rate_hz = sound.value().sample_rate_hz, .engine = engine}, sound.value().samples);
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const int engines = words.count("--engines", 10);
    const double seconds = words.number("--seconds", 40.0);
    const auto first_seed = words.seed("--first-seed", 700);
    words.done();
    std::string folder = (std::filesystem::temp_directory_path() / "idlehark-phone-XXXXXX").string();
    if (!mkdtemp(folder.data())) return 2;
    std::vector<Figures> figures(std::size(kCodings));
    for (int e = 0; e < engines; ++e) {
        auto spec = sim::plain_session(first_seed + static_cast<std::uint64_t>(e), {}, 2);
        spec.sound.background_snr_db = 0.0;  // noise as loud as the engine, through a telephone's microphone
        spec.quiet_start_s = seconds;
        const sim::Session session(spec);
        {
            auto writer = SoundWriter::open(folder + "/in.wav", spec.engine.sample_rate_hz);
            if (!writer || !writer.value().write(sim::render_seconds(*session.sound(), seconds))) return 2;
        }
        std::vector<RpmReading> plain;
        for (std::size_t c = 0; c < std::size(kCodings); ++c) {
            if (std::system(("cd " + folder + " && " + kCodings[c].make + " </dev/null").c_str()) != 0) return 2;
            if (c == 1 && !(write_amr(folder + "/12.amr", folder + "/narrow.wav", 7) &&
                            write_amr(folder + "/4.amr", folder + "/narrow.wav", 0)))
                return 2;
            const auto readings = track(folder + "/" + kCodings[c].file, spec.engine.engine);
            if (c == 0) plain = readings;
            auto& f = figures[c];
            for (std::size_t i = 0; i < readings.size(); ++i) {
                const auto& r = readings[i];
                f.readings += 1;
                if (!r.locked) continue;
                const double truth = session.path().rpm_at(r.time_s);
                f.locked += 1;
                f.errors_percent.push_back(100.0 * std::abs(r.rpm - truth) / truth);
                f.gross += f.errors_percent.back() > 3.0;
                f.covered += truth >= r.rpm_low && truth <= r.rpm_high;
                if (i < plain.size() && plain[i].locked) f.against_wav_rpm.push_back(std::abs(r.rpm - plain[i].rpm));
            }
        }
    }
    std::filesystem::remove_all(folder);
    std::printf("%-26s %9s %9s %9s %9s %9s %12s\n", "coding", "median %", "p95 %", "gross %", "locked %", "cover %",
                "against wav");
    for (std::size_t c = 0; c < std::size(kCodings); ++c) {
        const auto& f = figures[c];
        std::printf("%-26s %9.3f %9.3f %9.2f %9.2f %9.2f %8.2f rpm\n", kCodings[c].name,
                    bench::quantile(f.errors_percent, 0.5), bench::quantile(f.errors_percent, 0.95),
                    100.0 * f.gross / f.locked, 100.0 * f.locked / f.readings, 100.0 * f.covered / f.locked,
                    bench::quantile(f.against_wav_rpm, 0.5));
        bench::keep_row("phone", kCodings[c].name,
                        {{"median_percent", bench::quantile(f.errors_percent, 0.5)},
                         {"p95_percent", bench::quantile(f.errors_percent, 0.95)},
                         {"gross_percent", 100.0 * f.gross / f.locked},
                         {"locked_percent", 100.0 * f.locked / f.readings},
                         {"covered_percent", 100.0 * f.covered / f.locked},
                         {"against_wav_rpm", bench::quantile(f.against_wav_rpm, 0.5)}});
    }
    return 0;
}
