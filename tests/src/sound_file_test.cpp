#include "src/recording/sound_file.hpp"

#include "tests/src/support.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>
#include <sndfile.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

/// Channel c of frame i: a sine that differs from channel to channel.
float sample(int c, std::size_t i) {
    return 0.5F * static_cast<float>(std::sin(0.01 * (c + 1) * static_cast<double>(i)));
}

void write(const std::string& path, int format, int rate, int channels, std::size_t frames) {
    SF_INFO info{};
    info.samplerate = rate;
    info.channels = channels;
    info.format = format;
    SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
    REQUIRE(file != nullptr);
    std::vector<float> x;
    for (std::size_t i = 0; i < frames; ++i)
        for (int c = 0; c < channels; ++c) x.push_back(sample(c, i));
    REQUIRE(sf_writef_float(file, x.data(), static_cast<sf_count_t>(frames)) == static_cast<sf_count_t>(frames));
    sf_close(file);
}

double worst_error(const std::vector<float>& x, int channel) {
    double worst = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i)
        worst = std::max(worst, std::fabs(static_cast<double>(x[i] - sample(channel, i))));
    return worst;
}

}  // namespace

TEST_CASE("SoundFile: reads every sample format, rate and channel count", "[src][sound]") {
    struct Case {
        const char* name;
        int format;
        double tolerance;  // one step of the sample format
    };
    const auto c = GENERATE(values<Case>({{"u8.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 1.0 / 128},
                                          {"16.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1.0 / 32768},
                                          {"24.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 1e-6},
                                          {"32.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_32, 1e-6},
                                          {"f32.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0},
                                          {"f64.wav", SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 0.0},
                                          {"16.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1.0 / 32768},
                                          {"24.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 1e-6}}));
    const int rate = GENERATE(8000, 44100, 192000);
    const int channels = GENERATE(1, 2, 6);
    CAPTURE(c.name, rate, channels);
    const ScratchFolder folder;
    write(folder.path(c.name), c.format, rate, channels, 70000);
    const auto sound = read_sound(folder.path(c.name), channels);
    REQUIRE(sound);
    CHECK(sound.value().sample_rate_hz == rate);
    CHECK(sound.value().samples.size() == 70000);
    CHECK_FALSE(sound.value().warning);
    CHECK(worst_error(sound.value().samples, channels - 1) <= c.tolerance);
}

TEST_CASE("SoundFile: reads the lossy formats of telephones and recorders", "[src][sound]") {
    const auto [name, format] = GENERATE(table<const char*, int>(
        {{"x.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III}, {"x.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS}}));
    CAPTURE(name);
    const ScratchFolder folder;
    write(folder.path(name), format, 44100, 2, 70000);
    const auto sound = read_sound(folder.path(name), 2);
    REQUIRE(sound);
    const auto& x = sound.value().samples;
    CHECK(x.size() >= 70000);
    double power = 0.0;
    for (const float v : x) power += static_cast<double>(v) * static_cast<double>(v);
    CHECK(power / 70000.0 == Approx(0.125).epsilon(0.05));  // a sine of amplitude 0.5
}

TEST_CASE("SoundFile: gives the first channel unless another is asked for, and refuses one that is not there",
          "[src][sound]") {
    const ScratchFolder folder;
    const auto path = folder.path("two.wav");
    write(path, SF_FORMAT_WAV | SF_FORMAT_FLOAT, 16000, 2, 1000);
    CHECK(worst_error(read_sound(path).value().samples, 0) == 0.0);
    CHECK(worst_error(read_sound(path, 2).value().samples, 1) == 0.0);
    for (const int channel : {0, 3, -1}) {
        const auto wrong = read_sound(path, channel);
        REQUIRE_FALSE(wrong);
        CHECK_THAT(wrong.error().what, Contains("channel " + std::to_string(channel) + " is not in 1..2"));
    }
}

TEST_CASE("SoundFile: a file that breaks off is read as far as it goes, with a warning", "[src][sound]") {
    struct Case {
        const char* name;
        int format;
    };
    const auto c = GENERATE(values<Case>({{"x.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
                                          {"x.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16},
                                          {"x.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16}}));
    CAPTURE(c.name);
    const ScratchFolder folder;
    const auto path = folder.path(c.name);
    write(path, c.format, 16000, 1, 100000);
    std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
    const auto sound = read_sound(path);
    REQUIRE(sound);
    CHECK(sound.value().samples.size() > 30000);
    CHECK(sound.value().samples.size() < 60000);
    CHECK(worst_error(sound.value().samples, 0) <= 1.0 / 32768);
    REQUIRE(sound.value().warning);
    CHECK_THAT(*sound.value().warning, Contains("breaks off"));
}

TEST_CASE("SoundFile: a length that was never filled in is no break", "[src][sound]") {
    const ScratchFolder folder;
    const auto path = folder.path("pipe.wav");
    write(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 16000, 1, 5000);
    auto bytes = test::slurp(path);
    bytes.replace(4, 4, "\xff\xff\xff\xff");
    bytes.replace(40, 4, "\xff\xff\xff\xff");
    const auto sound = read_sound(folder.file("pipe2.wav", bytes));
    REQUIRE(sound);
    CHECK(sound.value().samples.size() == 5000);
    CHECK_FALSE(sound.value().warning);
}

TEST_CASE("SoundFile: says what is wrong with a file it cannot read", "[src][sound]") {
    const ScratchFolder folder;
    const auto open = [](const std::string& path) {
        const auto file = SoundFile::open(path);
        REQUIRE_FALSE(file);
        return file.error();
    };
    SECTION("missing") { CHECK_THAT(open(folder.path("none.wav")).what, Contains("No such file")); }
    SECTION("a folder") { CHECK_THAT(open(folder.path("")).what, Contains("is a folder")); }
    SECTION("empty") { CHECK_THAT(open(folder.file("e.wav", "")).what, Contains("is empty (0 bytes)")); }
    SECTION("text") {
        CHECK_THAT(open(folder.file("t.wav", "not sound at all")).what, Contains("cannot be read as sound"));
    }
    SECTION("a header cut short") {
        CHECK_THAT(open(folder.file("h.wav", "RIFF\x24")).what, Contains("cannot be read"));
    }
    SECTION("a telephone's container without anything in it") {
        const std::string head(
            "\0\0\0\x18"
            "ftypM4A \0\0\0\0",
            16);
        CHECK_THAT(open(folder.file("p.m4a", head)).what, Contains("index is missing or damaged"));
    }
    SECTION("a rate out of range") {
        write(folder.path("slow.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 4000, 1, 100);
        CHECK_THAT(open(folder.path("slow.wav")).what, Contains("sample rate 4000 Hz is not in 8000..192000"));
        write(folder.path("fast.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_16, 384000, 1, 100);
        CHECK_THAT(open(folder.path("fast.wav")).what, Contains("384000"));
    }
}

TEST_CASE("SoundFile: survives damaged bytes anywhere in a file", "[src][sound]") {
    const ScratchFolder folder;
    const auto [name, format] = GENERATE(table<const char*, int>({{"x.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
                                                                  {"x.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16},
                                                                  {"x.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS}}));
    write(folder.path(name), format, 16000, 1, 4000);
    const auto good = test::slurp(folder.path(name));
    const auto path = folder.path(std::string("bad-") + name);
    for (std::size_t at = 0; at < good.size(); at += at < 64 ? 1 : 97) {
        auto bytes = good;
        bytes[at] = static_cast<char>(~bytes[at]);
        std::ofstream{path, std::ios::binary} << bytes;
        const auto sound = read_sound(path);
        CHECK((sound ? sound.value().samples.size() < 1000000 : !sound.error().what.empty()));
    }
}

TEST_CASE("SoundWriter: what is written is read back", "[src][sound]") {
    const ScratchFolder folder;
    std::vector<float> x(3000);
    for (std::size_t i = 0; i < x.size(); ++i) x[i] = sample(0, i);
    x[7] = 3.0F;  // clipped, not wrapped
    for (const char* name : {"x.wav", "x.flac"}) {
        {
            auto writer = SoundWriter::open(folder.path(name), 16000.0);
            REQUIRE(writer);
            REQUIRE(writer.value().write(AudioView{x}.first(1000)));
            REQUIRE(writer.value().write(AudioView{x}.subspan(1000)));
        }
        const auto back = read_sound(folder.path(name));
        REQUIRE(back);
        CHECK(back.value().samples.size() == x.size());
        CHECK(back.value().samples[7] == Approx(1.0F).margin(1e-3));
        CHECK(back.value().samples[2000] == Approx(x[2000]).margin(1e-4));
    }
    CHECK_FALSE(SoundWriter::open(folder.path("x.mp4"), 16000.0));
    CHECK_FALSE(SoundWriter::open(folder.path("no/such/folder.wav"), 16000.0));
}
