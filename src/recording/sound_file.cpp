#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <string_view>

#include <fmt/format.h>
#include <sndfile.h>

namespace idlehark {

namespace {

constexpr double kLowestRate_hz = 8000.0;
constexpr double kHighestRate_hz = 192000.0;
constexpr std::size_t kBlockFrames = 65536;
constexpr std::size_t kBlockSamples = 262144;  // over all channels: bounds the memory of many-channel files

constexpr const char* kFormatHint =
    "WAV, FLAC, OGG, MP3 and AIFF are read. Open it in a sound editor and save it as WAV.";

struct CloseSound {
    void operator()(SNDFILE* f) const noexcept { sf_close(f); }
};
using Handle = std::unique_ptr<SNDFILE, CloseSound>;

struct CloseFile {
    void operator()(std::FILE* f) const noexcept { std::fclose(f); }
};

/// The first bytes, or why the path cannot be read at all.
Result<std::string> peek(const std::string& path) {
    std::error_code code;
    if (std::filesystem::is_directory(path, code))
        return Error{path + ": is a folder, not a recording", "Name one sound file in it."};
    const std::unique_ptr<std::FILE, CloseFile> file{std::fopen(path.c_str(), "rb")};
    if (!file) return Error{fmt::format("{}: {}", path, std::strerror(errno)), "Check the name and the folder."};
    std::string head(12, '\0');
    head.resize(std::fread(head.data(), 1, head.size(), file.get()));
    if (head.empty()) return Error{path + ": is empty (0 bytes)", "The recording was not saved; record it again."};
    return head;
}

/// WAV and AIFF state their length in bytes at the start. True if the file is shorter than that; lengths that
/// programs write while the end is unknown (0 and 0x7fffffff or more) say nothing.
bool breaks_off(const std::string& path, std::string_view head) {
    if (head.size() < 12) return false;
    const bool riff = head.starts_with("RIFF");
    if (!riff && !head.starts_with("FORM")) return false;
    std::uint64_t stated = 0;
    for (std::size_t i = 0; i < 4; ++i)
        stated |= std::uint64_t{static_cast<unsigned char>(head[4 + i])} << (riff ? 8 * i : 24 - 8 * i);
    if (stated == 0 || stated >= 0x7fffff00U) return false;
    std::error_code code;
    const auto size = std::filesystem::file_size(path, code);
    return !code && size + 1 < stated + 8;  // the pad byte of an odd last chunk is often missing
}

bool known_format(int format) {
    constexpr std::array kKnown{SF_FORMAT_WAV,  SF_FORMAT_WAVEX, SF_FORMAT_FLAC, SF_FORMAT_OGG, SF_FORMAT_AIFF,
                                SF_FORMAT_MPEG, SF_FORMAT_CAF,   SF_FORMAT_AU,   SF_FORMAT_W64, SF_FORMAT_RF64};
    return std::find(kKnown.begin(), kKnown.end(), format & SF_FORMAT_TYPEMASK) != kKnown.end();
}

Error not_sound(const std::string& path, std::string_view head, const std::string& reason) {
    if (head.size() >= 8 && head.substr(4, 4) == "ftyp")
        return Error{path + ": is an MP4 or 3GP container, which is not read yet",
                     "Convert it first, for example: ffmpeg -i IN.m4a OUT.wav"};
    return Error{fmt::format("{}: cannot be read as sound ({})", path, reason), kFormatHint};
}

}  // namespace

struct SoundFile::Parts {
    std::string path;
    Handle handle;
    SoundInfo info;
    std::size_t channel = 0;         // from 0
    std::vector<float> interleaved;  // as read
    std::vector<float> mono;         // the chosen channel; unused when the file has one
    std::uint64_t frames_read = 0;
    bool header_says_more = false;
    std::optional<std::string> warning;
};

SoundFile::SoundFile(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
SoundFile::~SoundFile() = default;
SoundFile::SoundFile(SoundFile&&) noexcept = default;
SoundFile& SoundFile::operator=(SoundFile&&) noexcept = default;

Result<SoundFile> SoundFile::open(const std::string& path, int channel) {
    const auto head = peek(path);
    if (!head) return head.error();

    SF_INFO info{};
    Handle handle{sf_open(path.c_str(), SFM_READ, &info)};
    if (!handle) {
        std::string reason = sf_strerror(nullptr);
        while (!reason.empty() && (reason.back() == '.' || reason.back() == '\n')) reason.pop_back();
        return not_sound(path, head.value(), reason);
    }
    if (!known_format(info.format)) return not_sound(path, head.value(), "a format that is not supported");
    if (info.samplerate < kLowestRate_hz || info.samplerate > kHighestRate_hz)
        return Error{fmt::format("{}: sample rate {} Hz is not in {:.0f}..{:.0f}", path, info.samplerate,
                                 kLowestRate_hz, kHighestRate_hz),
                     "Record or convert it at 16000 to 48000 Hz."};
    if (channel < 1 || channel > info.channels)
        return Error{fmt::format("{}: channel {} is not in 1..{}", path, channel, info.channels),
                     "Choose one of its channels with --channel."};

    auto parts = std::make_unique<Parts>();
    parts->path = path;
    parts->handle = std::move(handle);
    parts->info = {.sample_rate_hz = static_cast<double>(info.samplerate),
                   .channels = info.channels,
                   .frames = static_cast<std::uint64_t>(std::max<sf_count_t>(info.frames, 0))};
    parts->channel = static_cast<std::size_t>(channel - 1);
    const auto channels = static_cast<std::size_t>(info.channels);
    const std::size_t frames = std::clamp<std::size_t>(kBlockSamples / channels, 1, kBlockFrames);
    parts->interleaved.resize(frames * channels);
    if (channels > 1) parts->mono.resize(frames);
    parts->header_says_more = breaks_off(path, head.value());
    return SoundFile{std::move(parts)};
}

const SoundInfo& SoundFile::info() const noexcept { return parts_->info; }
std::uint64_t SoundFile::frames_read() const noexcept { return parts_->frames_read; }
const std::optional<std::string>& SoundFile::warning() const noexcept { return parts_->warning; }

AudioView SoundFile::read() {
    auto& p = *parts_;
    const auto channels = static_cast<std::size_t>(p.info.channels);
    const auto wanted = static_cast<sf_count_t>(p.interleaved.size() / channels);
    const auto got = std::max<sf_count_t>(sf_readf_float(p.handle.get(), p.interleaved.data(), wanted), 0);
    const auto frames = static_cast<std::size_t>(got);
    p.frames_read += frames;
    if (frames == 0 && !p.warning && (p.header_says_more || p.frames_read < p.info.frames))
        p.warning = fmt::format("{}: the file breaks off; the {:.1f} s that can be read are used", p.path,
                                static_cast<double>(p.frames_read) / p.info.sample_rate_hz);
    if (channels == 1) return {p.interleaved.data(), frames};
    for (std::size_t i = 0; i < frames; ++i) p.mono[i] = p.interleaved[i * channels + p.channel];
    return {p.mono.data(), frames};
}

Result<Sound> read_sound(const std::string& path, int channel) {
    auto file = SoundFile::open(path, channel);
    if (!file) return file.error();
    Sound sound{.sample_rate_hz = file.value().info().sample_rate_hz, .samples = {}, .warning = {}};
    for (AudioView block = file.value().read(); !block.empty(); block = file.value().read())
        sound.samples.insert(sound.samples.end(), block.begin(), block.end());
    sound.warning = file.value().warning();
    return sound;
}

struct SoundWriter::Parts {
    std::string path;
    Handle handle;
};

SoundWriter::SoundWriter(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
SoundWriter::~SoundWriter() = default;
SoundWriter::SoundWriter(SoundWriter&&) noexcept = default;
SoundWriter& SoundWriter::operator=(SoundWriter&&) noexcept = default;

Result<SoundWriter> SoundWriter::open(const std::string& path, double sample_rate_hz) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(std::lround(sample_rate_hz));
    info.channels = 1;
    if (path.ends_with(".wav"))
        info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
    else if (path.ends_with(".flac"))
        info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16;
    else if (path.ends_with(".ogg"))
        info.format = SF_FORMAT_OGG | SF_FORMAT_VORBIS;
    else
        return Error{path + ": sound is written as .wav, .flac or .ogg", ""};
    Handle handle{sf_open(path.c_str(), SFM_WRITE, &info)};
    if (!handle) return Error{fmt::format("{}: cannot be written ({})", path, sf_strerror(nullptr)), ""};
    sf_command(handle.get(), SFC_SET_CLIPPING, nullptr, SF_TRUE);
    return SoundWriter{std::make_unique<Parts>(Parts{path, std::move(handle)})};
}

Result<Done> SoundWriter::write(AudioView samples) {
    const auto count = static_cast<sf_count_t>(samples.size());
    if (sf_writef_float(parts_->handle.get(), samples.data(), count) == count) return Done{};
    return Error{fmt::format("{}: writing stopped early ({})", parts_->path, sf_strerror(parts_->handle.get())),
                 "Is the disk full?"};
}

}  // namespace idlehark
