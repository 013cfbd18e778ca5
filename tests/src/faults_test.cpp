#include "src/casebook/casebook.hpp"
#include "src/live/live_session.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sample24.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/casebook_support.hpp"

#include <atomic>
#include <chrono>
#include <cmath>
#include <csignal>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/mount.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

// What happens to machines while they record. The table of faults and promises is in DEVELOPERS.md.

namespace {
std::atomic<int> sync_takes_ms{0};
}

/// Stands in front of the system's own: a disk that takes its time.
extern "C" int fdatasync(int fd) {
    if (const int ms = sync_takes_ms.load(); ms > 0) std::this_thread::sleep_for(std::chrono::milliseconds{ms});
    return static_cast<int>(syscall(SYS_fdatasync, fd));
}

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

namespace fs = std::filesystem;
constexpr double kRate_hz = 16000.0;

RecordingSettings settings() {
    RecordingSettings s;
    s.device = "bench";
    s.sample_rate_hz = kRate_hz;
    s.channels = 1;
    return s;
}

/// Any sound of which no two seconds are alike.
std::vector<float> sweep(double seconds) {
    std::vector<float> x(static_cast<std::size_t>(seconds * kRate_hz));
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double t_s = static_cast<double>(i) / kRate_hz;
        x[i] = static_cast<float>(0.4 * std::sin(6.28 * (200.0 + 50.0 * t_s) * t_s));
    }
    return x;
}

std::size_t entries(const char* folder) {
    return static_cast<std::size_t>(std::distance(fs::directory_iterator{folder}, fs::directory_iterator{}));
}

}  // namespace

TEST_CASE("Faults: a disk that takes seconds to write holds no sound up", "[faults]") {
    const ScratchFolder folder;
    const auto x = sweep(4.0);
    {
        auto recorder = Recorder::create(folder.path("slow.flac"), settings());
        REQUIRE(recorder);
        sync_takes_ms = 1500;
        Capture capture{1};
        LiveSession session{
            capture, {.sample_rate_hz = kRate_hz, .microphone_channel = 1, .tracker = {}}, &recorder.value()};
        // As a device does: at its pace, whatever becomes of it.
        constexpr std::size_t kPiece = 160;
        const auto begin = std::chrono::steady_clock::now();
        for (std::size_t at = 0; at < x.size(); at += kPiece) {
            if (at == x.size() / 2) capture.note_device_gap();  // an event, which is on the disk before more is taken
            capture.submit(x.data() + at, kPiece);
            std::this_thread::sleep_until(begin + std::chrono::milliseconds{10 * (at / kPiece + 1)});
        }
        const auto news = session.finish();
        CHECK(news.losses.dropped_frames == 0);
        CHECK_FALSE(news.fault.has_value());
        CHECK(recorder.value().finish("stopped"));
        sync_takes_ms = 0;
    }
    const auto sound = read_sound(folder.path("slow.flac"));
    REQUIRE(sound);
    REQUIRE(sound.value().samples.size() == x.size());
    std::size_t wrong = 0;
    for (std::size_t i = 0; i < x.size(); ++i)
        if (sound.value().samples[i] != from_24_bits(to_24_bits(x[i]))) ++wrong;
    CHECK(wrong == 0);
    CHECK(read_gaps(folder.path("slow.flac")).size() == 1);
}

TEST_CASE("Faults: a disk that fills while the last of the sound is written is told", "[faults]") {
    const ScratchFolder folder;
    const auto disk = folder.path("disk");
    fs::create_directory(disk);
    if (mount("tmpfs", disk.c_str(), "tmpfs", 0, "size=2m") != 0) {
        WARN("NOT TESTED: a small file system cannot be mounted here (needs root)");
        return;
    }
    const auto sound = test::tone_file(folder, "tone.wav", 120.0);
    const auto ran = test::run_idlehark("listen --from " + sound +
                                        " --pace 0 --cylinders 4 --idle-rpm 700:950 --record " + disk + "/out.wav");
    CHECK(ran.code == 2);
    CHECK_THAT(ran.err, Contains("the disk is full"));
    REQUIRE(umount(disk.c_str()) == 0);
}

TEST_CASE("Faults: an output that is closed ends a recording in order", "[faults]") {
    const ScratchFolder folder;
    const auto sound = test::tone_file(folder, "tone.wav", 20.0);
    const auto command = "'" + test::program_path() + "' listen --from " + sound +
                         " --pace 20 --format json --cylinders 4 --idle-rpm 700:950 --record " +
                         folder.path("out.wav") + " 2>/dev/null | head -n 1 >/dev/null";
    REQUIRE(std::system(command.c_str()) == 0);
    CHECK_THAT(test::slurp(folder.path("out.events.csv")), Contains(",end,"));
}

TEST_CASE("Faults: a read-only folder is said before anything is recorded", "[faults]") {
    const ScratchFolder folder;
    const auto disk = folder.path("disk");
    fs::create_directory(disk);
    if (mount("tmpfs", disk.c_str(), "tmpfs", MS_RDONLY, "size=1m") != 0) {
        WARN("NOT TESTED: a small file system cannot be mounted here (needs root)");
        return;
    }
    const auto sound = test::tone_file(folder, "tone.wav", 2.0);
    const auto ran = test::run_idlehark("listen --from " + sound +
                                        " --pace 0 --cylinders 4 --idle-rpm 700:950 --record " + disk + "/out.flac");
    CHECK(ran.code == 2);
    CHECK_THAT(ran.err, Contains("out") && Contains("cannot be written"));
    REQUIRE(umount(disk.c_str()) == 0);
}

TEST_CASE("Faults: a program that is stopped for a while loses nothing that it was given, and invents nothing",
          "[faults]") {
    const ScratchFolder folder;
    const auto x = sweep(4.0);
    {
        auto writer = SoundWriter::open(folder.path("in.wav"), kRate_hz);
        REQUIRE(writer);
        REQUIRE(writer.value().write(x));
    }
    const auto out = folder.path("out.wav");
    const pid_t child = fork();
    if (child == 0) {
        if (!std::freopen(folder.path("log").c_str(), "w", stdout) || dup2(1, 2) < 0) _exit(126);
        execl(test::program_path().c_str(), "idlehark", "listen", "--from", folder.path("in.wav").c_str(), "--pace",
              "1", "--cylinders", "4", "--idle-rpm", "700:950", "--format", "json", "--record", out.c_str(), nullptr);
        _exit(127);
    }
    std::this_thread::sleep_for(std::chrono::milliseconds{1500});
    REQUIRE(kill(child, SIGSTOP) == 0);
    std::this_thread::sleep_for(std::chrono::seconds{3});
    REQUIRE(kill(child, SIGCONT) == 0);
    int status = 0;
    waitpid(child, &status, 0);
    CAPTURE(test::slurp(folder.path("log")));
    CHECK(WIFEXITED(status));
    const auto before = read_sound(folder.path("in.wav"));
    const auto after = read_sound(out);
    REQUIRE(before);
    REQUIRE(after);
    CHECK(after.value().samples == before.value().samples);
    CHECK(read_gaps(out).empty());
}

TEST_CASE("Faults: a hundred reconnections leave a hundred parts, and no file or thread behind", "[faults]") {
    const ScratchFolder folder;
    const auto first = folder.path("bay.flac");
    const auto x = sweep(0.5);
    std::size_t files = 0;
    std::size_t threads = 0;
    std::vector<std::string> names;
    for (int n = 0; n < 100; ++n) {
        if (n == 1) files = entries("/proc/self/fd"), threads = entries("/proc/self/task");
        auto about = settings();
        const auto path = n == 0 ? first : next_part(first);
        if (n > 0) about.continues = "bay.flac";
        auto recorder = Recorder::create(path, about);
        REQUIRE(recorder);
        Capture capture{1};
        LiveSession session{
            capture, {.sample_rate_hz = kRate_hz, .microphone_channel = 1, .tracker = {}}, &recorder.value()};
        capture.submit(x.data(), x.size());
        CHECK(session.finish().frames == x.size());
        REQUIRE(recorder.value().finish("the device delivers no more sound"));
        names.push_back(path);
    }
    CHECK(entries("/proc/self/fd") == files);
    CHECK(entries("/proc/self/task") == threads);
    CHECK(names.back() == folder.path("bay-part100.flac"));
    for (const auto& name : names) {
        const auto sound = read_sound(name);
        REQUIRE(sound);
        CHECK(sound.value().samples.size() == x.size());
    }
}

TEST_CASE("Faults: a clock that was set back does not make repair wait for a recording", "[faults]") {
    const ScratchFolder folder;
    const auto place = folder.path("c");
    std::string path;
    {
        auto book = test::new_case(place);
        const auto visit = book.add_visit({.date = "2026-05-30", .title = "one"});
        REQUIRE(visit);
        const auto running = book.begin_recording(visit.value(), RecordingKind::bay, "bay.wav", 1, "bench");
        REQUIRE(running);
        path = running.value().path;
        fs::copy_file(test::tone_file(folder, "tone.wav", 1.0), path);
    }
    fs::last_write_time(path, fs::file_time_type::clock::now() + std::chrono::hours{24});
    const auto repaired = test::run_idlehark("case repair " + place);
    CHECK_THAT(repaired.out, Contains("closed after it was cut off"));
}
