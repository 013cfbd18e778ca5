#include "src/recording/recorder.hpp"

#include "src/files/marks_file.hpp"
#include "src/recording/marks_journal.hpp"
#include "src/recording/sample24.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/support.hpp"

#include <cmath>
#include <csignal>
#include <filesystem>
#include <limits>
#include <optional>
#include <random>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

RecordingSettings settings(double rate_hz, int channels) {
    RecordingSettings s;
    s.device = "bench, rear";
    s.sample_rate_hz = rate_hz;
    s.channels = channels;
    return s;
}

/// No file grows while it lives.
class FullDisk {
   public:
    FullDisk() {
        std::signal(SIGXFSZ, SIG_IGN);
        getrlimit(RLIMIT_FSIZE, &before_);
        const rlimit none{0, before_.rlim_max};
        setrlimit(RLIMIT_FSIZE, &none);
    }
    ~FullDisk() { setrlimit(RLIMIT_FSIZE, &before_); }
    FullDisk(const FullDisk&) = delete;
    FullDisk& operator=(const FullDisk&) = delete;

   private:
    rlimit before_{};
};

/// White noise at half scale as 24-bit samples: the hardest thing to pack.
std::vector<std::int32_t> noise(std::size_t samples, unsigned seed) {
    std::mt19937 random{seed};
    std::vector<std::int32_t> x(samples);
    for (auto& v : x) v = to_24_bits(static_cast<float>(static_cast<std::int32_t>(random())) / 4294967296.0F);
    return x;
}

}  // namespace

TEST_CASE("Sample24: rounds once, then reads back exactly", "[recording]") {
    for (const float x : {0.0F, 1e-7F, -0.3F, 0.99999F, 1.0F, -1.0F, 7.0F, -7.0F}) {
        const float kept = from_24_bits(to_24_bits(x));
        CHECK(std::fabs(kept - std::min(std::max(x, -1.0F), 8388607.0F / 8388608.0F)) <= 0.5F / 8388608.0F);
        CHECK(from_24_bits(to_24_bits(kept)) == kept);
    }
    CHECK(to_24_bits(std::numeric_limits<float>::quiet_NaN()) == 0);
}

TEST_CASE("Recorder: what is read back is what was written, to the last bit", "[recording]") {
    const auto* name = GENERATE("a.wav", "a.flac");
    const ScratchFolder folder;
    const auto x = noise(2 * 50000, 1);
    {
        auto recorder = Recorder::create(folder.path(name), settings(48000.0, 2));
        REQUIRE(recorder);
        REQUIRE(recorder.value().write(std::span{x}.first(2 * 777)));
        REQUIRE(recorder.value().gap(123));
        REQUIRE(recorder.value().write(std::span{x}.subspan(2 * 777)));
        REQUIRE(recorder.value().finish("stopped"));
    }
    for (const int channel : {1, 2}) {
        const auto sound = read_sound(folder.path(name), channel);
        REQUIRE(sound);
        CHECK_FALSE(sound.value().warning.has_value());
        REQUIRE(sound.value().samples.size() == 50000);
        std::size_t wrong = 0;
        for (std::size_t i = 0; i < 50000; ++i)
            if (sound.value().samples[i] != from_24_bits(x[2 * i + static_cast<std::size_t>(channel) - 1])) ++wrong;
        CHECK(wrong == 0);
    }
    const auto gaps = read_gaps(folder.path(name));
    REQUIRE(gaps.size() == 1);
    CHECK(gaps[0].frame == 777);
    CHECK(gaps[0].lost_frames == 123);
    CHECK_THAT(test::slurp(folder.path("a.events.csv")), Contains("\"bench, rear\"") && Contains(",end,stopped"));
    CHECK_THAT(test::slurp(folder.path("a.settings.json")), Contains("\"sample_rate_hz\": 48000.0"));
}

TEST_CASE("Recorder: overwrites nothing and numbers the parts", "[recording]") {
    const ScratchFolder folder;
    for (const auto* taken : {"b.flac", "b.marks.csv", "b.events.csv"}) {
        const auto path = folder.file(taken, "mine");
        const auto refused = Recorder::create(folder.path("b.flac"), settings(16000.0, 1));
        REQUIRE_FALSE(refused);
        CHECK_THAT(refused.error().what, Contains("exists already"));
        CHECK(test::slurp(path) == "mine");
        std::filesystem::remove(path);
    }
    CHECK(next_part(folder.path("b.flac")) == folder.path("b-part2.flac"));
    CHECK(folder.file("b-part2.flac", "x") == folder.path("b-part2.flac"));
    CHECK(next_part(folder.path("b.flac")) == folder.path("b-part3.flac"));
    CHECK(folder.file("b-part2.settings.json", "{}") == folder.path("b-part2.settings.json"));
    CHECK(next_part(folder.path("b.wav")) == folder.path("b-part3.wav"));  // what lies beside the other is in its way
    const auto refused = Recorder::create(folder.path("b.mp3"), settings(16000.0, 1));
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().what, Contains(".wav or .flac"));
}

TEST_CASE("Recorder: one that does not begin leaves nothing in the way of the next try", "[recording]") {
    const ScratchFolder folder;
    const auto path = folder.path("b.flac");
    {
        const FullDisk full;
        CHECK_FALSE(Recorder::create(path, settings(16000.0, 1)));
    }
    CHECK(std::filesystem::is_empty(folder.path("")));
    auto strange = settings(16000.0, 1);
    strange.device = "caf\xe9";  // not UTF-8: a file of an old system
    auto recorder = Recorder::create(path, strange);
    REQUIRE(recorder);
    CHECK(recorder.value().write(noise(16000, 6)));
    CHECK(recorder.value().finish("stopped"));
    CHECK(read_sound(path));
}

TEST_CASE("Recorder: a FLAC that was cut off does not pretend to a length", "[recording]") {
    const ScratchFolder folder;
    const auto path = folder.path("cut.flac");
    const auto x = noise(160'000, 4);
    {
        auto recorder = Recorder::create(path, settings(16000.0, 1));
        REQUIRE(recorder);
        REQUIRE(recorder.value().write(x));
        std::filesystem::copy_file(path, folder.path("copy.flac"));  // as it lies there before it is closed
    }
    auto file = SoundFile::open(folder.path("copy.flac"));
    REQUIRE(file);
    CHECK(file.value().info().frames == 0);
    while (!file.value().read().empty()) {
    }
    CHECK(file.value().frames_read() > 140'000);
    REQUIRE(file.value().warning());
    CHECK_THAT(*file.value().warning(), Contains("breaks off"));
}

TEST_CASE("Recorder: kill -9 at any moment loses at most a second and no mark", "[recording]") {
    const auto* name = GENERATE("k.wav", "k.flac");
    std::mt19937 random{20};
    const auto x = noise(16000, 2);
    for (int round = 0; round < 25; ++round) {
        const ScratchFolder folder;
        int told[2];  // the child tells how much it has recorded and marked
        REQUIRE(pipe(told) == 0);
        const pid_t child = fork();
        if (child == 0) {
            auto recorder = Recorder::create(folder.path(name), settings(16000.0, 1));
            MarksJournal marks{folder.path("k.marks.csv")};
            if (!recorder) _exit(3);
            for (std::uint32_t n = 0;; ++n) {
                if (!recorder.value().write(std::span{x}.subspan((n % 100) * 160, 160))) _exit(4);
                if (n % 100 == 99 && !marks.mark(n / 100.0, "7")) _exit(5);
                const std::uint32_t state[2]{n + 1, (n + 1) / 100};
                if (write(told[1], state, sizeof state) != sizeof state) _exit(6);
            }
        }
        close(told[1]);
        // Not the clock but the amount recorded says when: a random number of 10 ms pieces, then at once.
        const auto moment = 1 + random() % 2000;
        std::uint32_t state[2]{0, 0};
        while (state[0] < moment) REQUIRE(read(told[0], state, sizeof state) == sizeof state);
        kill(child, SIGKILL);
        int status = 0;
        waitpid(child, &status, 0);
        REQUIRE(WIFSIGNALED(status));
        while (read(told[0], state, sizeof state) == sizeof state) {
        }
        close(told[0]);
        CAPTURE(name, round, state[0], state[1]);

        const auto sound = read_sound(folder.path(name));
        const std::size_t written = std::size_t{state[0]} * 160;
        if (written > 16000) {
            REQUIRE(sound);
            CHECK(sound.value().samples.size() + 16000 >= written);
        }
        if (sound) {
            std::size_t wrong = 0;
            for (std::size_t i = 0; i < sound.value().samples.size(); ++i)
                if (sound.value().samples[i] != from_24_bits(x[i % 16000])) ++wrong;
            CHECK(wrong == 0);
        }
        if (state[1] > 0) {
            const auto marks = read_marks(folder.path("k.marks.csv"));
            REQUIRE(marks);
            CHECK(marks.value().marks.size() >= state[1]);
        }
    }
}

TEST_CASE("Recorder: a full disk ends the recording with all before it kept", "[recording]") {
    const auto* name = GENERATE("f.wav", "f.flac");
    const std::uint64_t reserve_bytes = GENERATE(std::uint64_t{1} << 20U, std::uint64_t{0});
    const ScratchFolder folder;
    const auto disk = folder.path("disk");
    std::filesystem::create_directory(disk);
    if (mount("tmpfs", disk.c_str(), "tmpfs", 0, "size=3m") != 0) {
        WARN("NOT TESTED: a small file system cannot be mounted here (needs root)");
        return;
    }
    {
        const auto x = noise(4800, 3);
        auto recorder = Recorder::create(disk + "/" + name, settings(48000.0, 1), reserve_bytes);
        REQUIRE(recorder);
        MarksJournal marks{recorder.value().names().marks};
        REQUIRE(marks.mark(0.5, "1"));
        std::optional<Error> fault;
        std::uint64_t good = 0;
        for (int n = 0; n < 1000 && !fault; ++n) {
            const auto written = recorder.value().write(x);
            if (!written) fault = written.error();
            if (!fault) good += x.size();
        }
        REQUIRE(fault.has_value());
        CHECK_THAT(fault->what, Contains("disk is full"));
        CHECK_THAT(fault->hint, Contains("--resume"));
        if (reserve_bytes > 0) {
            CHECK(recorder.value().finish("disk full"));
            CHECK(marks.mark(9.0, "2"));  // the reserve is there for this
        } else {
            static_cast<void>(recorder.value().finish("disk full"));
        }
        const auto sound = read_sound(disk + "/" + name);
        REQUIRE(sound);
        CHECK(sound.value().samples.size() + 48000 >= good);
        CHECK(good > 48000);
        std::size_t wrong = 0;
        for (std::size_t i = 0; i < std::min<std::size_t>(good, sound.value().samples.size()); ++i)
            if (sound.value().samples[i] != from_24_bits(x[i % x.size()])) ++wrong;
        CHECK(wrong == 0);
    }
    REQUIRE(umount(disk.c_str()) == 0);
}

TEST_CASE("MarksJournal: a full disk at the first mark keeps neither the header nor later marks out", "[recording]") {
    const ScratchFolder folder;
    const auto path = folder.path("m.marks.csv");
    MarksJournal journal{path};
    {
        const FullDisk full;
        CHECK_FALSE(journal.mark(0.5, "1"));
    }
    CHECK(read_journal(path).marks.empty());
    CHECK(read_journal(path).unread.empty());  // nothing is in it, so nothing is lost
    REQUIRE(journal.mark(1.5, "2"));
    {
        const FullDisk full;
        CHECK_FALSE(journal.mark(2.5, "3"));
    }
    REQUIRE(journal.mark(3.5, "4"));
    const auto marks = read_marks(path);
    if (!marks) FAIL(marks.error().what);
    REQUIRE(marks.value().marks.size() == 2);
    CHECK(marks.value().marks[0].spot == "2");
    CHECK(marks.value().marks[1].spot == "4");
}

TEST_CASE("MarksJournal: what lost its header is read, what is no mark is named", "[recording]") {
    const ScratchFolder folder;
    const auto headless = read_journal(folder.file("a.csv", "0.500,7\n2.250,\"9, rear\"\n"));
    REQUIRE(headless.marks.size() == 2);
    CHECK(headless.marks[0].time_s == 0.5);
    CHECK(headless.marks[1].spot == "9, rear");
    CHECK(headless.unread.empty());
    const auto torn = read_journal(folder.file("b.csv", "time_s,spot\n1.0,7\n2.0\n3.0,8\n4.x,9\n"));
    REQUIRE(torn.marks.size() == 2);
    CHECK(torn.marks[1].spot == "8");
    CHECK(torn.unread == "b.csv: line 3 and 1 more are not read as marks");
    CHECK(read_journal(folder.file("c.csv", "time_s,spot\n")).unread.empty());
    CHECK_THAT(read_journal(folder.file("d.csv",
                                        "\xff\xfe"
                                        "1"))
                   .unread,
               Contains("UTF-16"));
    CHECK_THAT(read_journal(folder.path("none.csv")).unread, Contains("none.csv"));
}
