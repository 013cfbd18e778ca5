#include "src/recording/sound_file.hpp"
#include "tests/src/support.hpp"

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

constexpr double kPi = 3.14159265358979323846;

/// Channel 1 a sine of 440 Hz, channel 2 one of 660 Hz, amplitude 0.5 each, as a 16-bit WAV made by hand.
void make_wave(const std::string& path, int rate_hz, double length_s) {
    const auto frames = static_cast<std::uint32_t>(length_s * rate_hz);
    std::ofstream out{path, std::ios::binary};
    const auto number = [&](std::uint32_t v, int bytes) {
        for (int i = 0; i < bytes; ++i) out.put(static_cast<char>(v >> (8 * i)));
    };
    out << "RIFF";
    number(36 + frames * 4, 4);
    out << "WAVEfmt ";
    number(16, 4), number(1, 2), number(2, 2), number(static_cast<std::uint32_t>(rate_hz), 4);
    number(static_cast<std::uint32_t>(rate_hz) * 4, 4), number(4, 2), number(16, 2);
    out << "data";
    number(frames * 4, 4);
    for (std::uint32_t i = 0; i < frames; ++i)
        for (const double f : {440.0, 660.0})
            number(static_cast<std::uint32_t>(std::lround(16384.0 * std::sin(2 * kPi * f * i / rate_hz))) & 0xffffU, 2);
}

/// Runs Debian's ffmpeg (or sox) on the arguments, in the folder.
void make(const ScratchFolder& folder, const std::string& command) {
    const std::string line = "cd '" + folder.path("") + "' && " + command + " >making.log 2>&1 </dev/null";
    INFO(command);
    if (std::system(line.c_str()) != 0) FAIL(test::slurp(folder.path("making.log")));
}
const std::string kFfmpeg = "ffmpeg -nostdin -v error -y ";

/// Amplitude of the sine of that frequency, over the middle of the sound, where no coder fades.
double amplitude(const std::vector<float>& x, double rate_hz, double f_hz) {
    double c = 0.0, s = 0.0;
    const std::size_t from = x.size() / 4, to = x.size() - from;
    for (std::size_t i = from; i < to; ++i) {
        const double w = 2 * kPi * f_hz * static_cast<double>(i) / rate_hz;
        c += static_cast<double>(x[i]) * std::cos(w);
        s += static_cast<double>(x[i]) * std::sin(w);
    }
    return 2.0 * std::hypot(c, s) / static_cast<double>(to - from);
}

Error refused(const std::string& path) {
    const auto file = SoundFile::open(path);
    REQUIRE_FALSE(file);
    return file.error();
}

}  // namespace

TEST_CASE("SoundFile: reads what telephones write", "[src][sound][phone]") {
    struct Case {
        const char* name;
        const char* how;  // after "-i in.wav"
        double rate_hz;
    };
    const auto c = GENERATE(values<Case>({
        {"x.m4a", "-c:a aac -b:a 64k x.m4a", 44100},
        {"x.mp4", "-f lavfi -i testsrc=s=160x120:d=3 -c:v mpeg4 -c:a aac -shortest x.mp4", 44100},
        {"x.mov", "-c:a pcm_s24le x.mov", 44100},
        {"x.webm", "-c:a libopus -b:a 48k x.webm", 48000},
        {"v.webm", "-c:a libvorbis v.webm", 44100},
        {"x.opus", "-c:a libopus -b:a 48k x.opus", 48000},
        {"x.aac", "-c:a aac x.aac", 44100},
        {"f.m4a", "-c:a aac -movflags frag_keyframe+empty_moov -frag_duration 500000 f.m4a", 44100},
    }));
    CAPTURE(c.name);
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 44100, 3.0);
    make(folder, kFfmpeg + "-i in.wav " + c.how);
    for (const int channel : {1, 2}) {
        const auto sound = read_sound(folder.path(c.name), channel);
        if (!sound) FAIL(sound.error().what);
        CHECK(sound.value().sample_rate_hz == c.rate_hz);
        CHECK_FALSE(sound.value().warning);
        const auto& x = sound.value().samples;
        CHECK(static_cast<double>(x.size()) / c.rate_hz == Approx(3.0).margin(0.05));  // one or two coder frames
        CHECK(amplitude(x, c.rate_hz, channel == 1 ? 440.0 : 660.0) == Approx(0.5).margin(0.02));
        CHECK(amplitude(x, c.rate_hz, channel == 1 ? 660.0 : 440.0) < 0.02);  // coders leak a little
    }
}

TEST_CASE("SoundFile: reads the narrow sound of 3GP and AMR files", "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 8000, 3.0);
    make(folder, "sox in.wav -C 7 x.amr-nb remix 1 && mv x.amr-nb x.amr && " + kFfmpeg + "-i x.amr -c copy x.3gp");
    for (const char* name : {"x.amr", "x.3gp"}) {
        CAPTURE(name);
        const auto sound = read_sound(folder.path(name));
        if (!sound) FAIL(sound.error().what);
        CHECK(sound.value().sample_rate_hz == 8000.0);
        CHECK_FALSE(sound.value().warning);
        CHECK(static_cast<double>(sound.value().samples.size()) == Approx(24000).margin(320));
        // A speech coder does not keep waveforms: three quarters of a pure tone, and little besides.
        CHECK(amplitude(sound.value().samples, 8000.0, 440.0) > 0.375);
        CHECK(amplitude(sound.value().samples, 8000.0, 660.0) < 0.1);
    }
}

TEST_CASE("SoundFile: a lossless telephone file gives the very samples, each channel its own", "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 48000, 2.345);
    make(folder, kFfmpeg + "-i in.wav -c:a alac x.m4a");
    for (const int channel : {1, 2}) {
        const auto plain = read_sound(folder.path("in.wav"), channel);
        const auto phone = read_sound(folder.path("x.m4a"), channel);
        REQUIRE(plain);
        REQUIRE(phone);
        CHECK(phone.value().samples == plain.value().samples);
        CHECK_FALSE(phone.value().warning);
    }
    const auto wrong = SoundFile::open(folder.path("x.m4a"), 3);
    REQUIRE_FALSE(wrong);
    CHECK_THAT(wrong.error().what, Contains("channel 3 is not in 1..2"));
}

TEST_CASE("SoundFile: pictures in a telephone's file are passed over; without sound it says so",
          "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 44100, 2.0);
    make(folder, kFfmpeg + "-f lavfi -i testsrc=s=160x120:d=2 -i in.wav -c:v mpeg4 -metadata:s:v rotate=90 up.mp4");
    make(folder, kFfmpeg + "-f lavfi -i color=s=64x64 -frames:v 1 c.png && " + kFfmpeg +
                     "-i in.wav -i c.png -map 1 -map 0 -c:v copy -disposition:v:0 attached_pic -c:a aac cover.m4a");
    make(folder, kFfmpeg + "-f lavfi -i testsrc=s=160x120:d=1 -c:v mpeg4 mute.mp4");
    for (const char* name : {"up.mp4", "cover.m4a"}) {
        CAPTURE(name);
        const auto sound = read_sound(folder.path(name));
        if (!sound) FAIL(sound.error().what);
        CHECK(sound.value().samples.size() == Approx(88200).margin(2048));
        CHECK_FALSE(sound.value().warning);
    }
    CHECK_THAT(refused(folder.path("mute.mp4")).what, Contains("has no sound track"));
    const auto ran = test::run_idlehark("idle '" + folder.path("mute.mp4") + "' --cylinders 4 --idle-rpm 700:950");
    CHECK(ran.code == 2);
    CHECK_THAT(ran.err, Contains("has no sound track"));
}

TEST_CASE("SoundFile: a telephone's file that breaks off is read as far as it goes", "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 44100, 4.0);
    const auto how = GENERATE(values<std::string>(
        {"-c:a aac -movflags +faststart x.m4a", "-c:a libopus x.webm", "-c:a pcm_s16le -f mov x.mov",
         "-c:a aac -movflags frag_keyframe+empty_moov -frag_duration 500000 f.m4a"}));
    CAPTURE(how);
    make(folder, kFfmpeg + "-i in.wav " + how);
    const auto path = folder.path(how.substr(how.rfind(' ') + 1));
    if (how.find(".mov") == std::string::npos) {
        std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
        const auto sound = read_sound(path);
        if (!sound) FAIL(sound.error().what);
        CHECK(static_cast<double>(sound.value().samples.size()) / sound.value().sample_rate_hz ==
              Approx(2.0).margin(0.5));
        REQUIRE(sound.value().warning);
        CHECK_THAT(*sound.value().warning, Contains("breaks off"));
    } else {  // the index stands at the end: nothing can be found without it
        std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
        CHECK_THAT(refused(path).what, Contains("index is missing"));
    }
}

TEST_CASE("SoundFile: where packets are missing stands silence, and later sound keeps its time",
          "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 48000, 6.0);
    // Packets of 20 ms: 100 to 149 are second 2 to 3.
    make(folder, kFfmpeg + "-i in.wav -c:a libopus whole.webm && " + kFfmpeg +
                     "-i whole.webm -c copy -bsf:a \"noise=amount=0:drop='between(n,100,149)'\" holed.webm");
    const auto whole = read_sound(folder.path("whole.webm"));
    const auto holed = read_sound(folder.path("holed.webm"));
    REQUIRE(whole);
    REQUIRE(holed);
    CHECK_FALSE(whole.value().warning);
    REQUIRE(holed.value().warning);
    CHECK_THAT(*holed.value().warning, Contains("missing or damaged at 1 place; 1.0 s of silence"));
    CHECK(holed.value().samples.size() == Approx(whole.value().samples.size()).margin(96));
    // From 5 s on the two agree in time, but for the millisecond to which WebM rounds its times.
    double least = 1.0;
    for (std::size_t shift = 0; shift <= 96; ++shift) {
        double worst = 0.0;
        for (std::size_t i = 5 * 48000; i < 5 * 48000 + 4800; ++i)
            worst = std::max(worst, std::fabs(static_cast<double>(whole.value().samples[i] -
                                                                  holed.value().samples[i + shift - 48])));
        least = std::min(least, worst);
    }
    CHECK(least < 0.05);
    for (std::size_t i = 2 * 48000 + 4800; i < 3 * 48000 - 4800; ++i) REQUIRE(holed.value().samples[i] == 0.0F);
}

TEST_CASE("SoundFile: a sample rate that changes on the way ends what is used", "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("a.wav"), 44100, 2.0);
    make_wave(folder.path("b.wav"), 32000, 2.0);
    make(folder,
         kFfmpeg + "-i a.wav -c:a aac a.aac && " + kFfmpeg + "-i b.wav -c:a aac b.aac && (cat a.aac b.aac > both.aac)");
    const auto sound = read_sound(folder.path("both.aac"));
    if (!sound) FAIL(sound.error().what);
    CHECK(static_cast<double>(sound.value().samples.size()) == Approx(88200).margin(4096));
    REQUIRE(sound.value().warning);
    CHECK_THAT(*sound.value().warning, Contains("sample rate changes to 32000 Hz"));
}

TEST_CASE("SoundFile: refuses telephone files that cannot be right, and opens no other file for them",
          "[src][sound][phone]") {
    const ScratchFolder folder;
    SECTION("a rate too low or too high") {
        make_wave(folder.path("in.wav"), 44100, 1.0);
        make(folder, kFfmpeg + "-i in.wav -ar 7350 -c:a aac low.m4a");
        make(folder, kFfmpeg + "-i in.wav -ar 384000 -c:a pcm_s16le high.mov");
        CHECK_THAT(refused(folder.path("low.m4a")).what, Contains("sample rate 7350 Hz is not in 8000..192000"));
        CHECK_THAT(refused(folder.path("high.mov")).what, Contains("sample rate 384000 Hz"));
    }
    SECTION("a playlist that points elsewhere") {
        make_wave(folder.path("in.wav"), 44100, 1.0);
        for (const char* text : {"#EXTM3U\n#EXTINF:1,\nin.wav\n", "ffconcat version 1.0\nfile in.wav\n"}) {
            CHECK_THAT(refused(folder.file("list.m4a", text)).what, Contains("cannot be read as sound"));
            CHECK_THAT(refused(folder.file("list.amr", std::string{"#!AMR"} + text)).what, Contains("cannot be read"));
        }
    }
    SECTION("a stated length of years is no reason to reserve room") {
        make_wave(folder.path("in.wav"), 44100, 1.0);
        make(folder, kFfmpeg + "-i in.wav -c:a aac x.m4a");
        auto bytes = test::slurp(folder.path("x.m4a"));
        for (const char* box : {"mdhd", "mvhd"}) bytes.replace(bytes.find(box) + 20, 4, "\x7f\xff\xff\xff");
        bytes.replace(bytes.find("tkhd") + 24, 4, "\x7f\xff\xff\xff");
        bytes.replace(bytes.find("elst") + 12, 4, "\x7f\xff\xff\xff");
        const auto sound = read_sound(folder.file("long.m4a", bytes));
        if (!sound) FAIL(sound.error().what);
        CHECK(sound.value().samples.size() == Approx(44100).margin(2048));
    }
    SECTION("an index of four thousand million packets") {
        make_wave(folder.path("in.wav"), 44100, 1.0);
        make(folder, kFfmpeg + "-i in.wav -c:a aac x.m4a");
        auto bytes = test::slurp(folder.path("x.m4a"));
        bytes.replace(bytes.find("stsz") + 8, 8, std::string("\0\0\0\1\xff\xff\xff\xf0", 8));  // all one byte long
        bytes.replace(bytes.find("stts") + 12, 4, "\xff\xff\xff\xf0");
        const auto sound = read_sound(folder.file("bomb.m4a", bytes));
        CHECK((sound ? sound.value().samples.size() < 1000000 : !sound.error().what.empty()));
    }
}

TEST_CASE("SoundFile: survives damaged bytes anywhere in a telephone's file", "[src][sound][phone]") {
    const ScratchFolder folder;
    make_wave(folder.path("in.wav"), 16000, 0.5);
    const auto how = GENERATE(values<std::string>({"-c:a aac x.m4a", "-c:a libopus x.webm", "-c:a aac x.aac"}));
    make(folder, kFfmpeg + "-i in.wav " + how);
    const auto name = how.substr(how.rfind(' ') + 1);
    CAPTURE(name);
    const auto good = test::slurp(folder.path(name));
    const auto path = folder.path("bad-" + name);
    for (std::size_t at = 0; at < good.size(); at += at < 64 ? 1 : 37) {
        auto bytes = good;
        bytes[at] = static_cast<char>(~bytes[at]);
        std::ofstream{path, std::ios::binary} << bytes;
        const auto sound = read_sound(path);
        // Ten minutes of silence at most may stand in for what is missing.
        CHECK((sound ? sound.value().samples.size() < 31000000 : !sound.error().what.empty()));
    }
}
