#include "src/files/file_handle.hpp"
#include "src/recording/sound_decoder.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kLowestRate_hz = 8000.0;
constexpr double kHighestRate_hz = 192000.0;
constexpr double kLongest_h = 24.0;  // a few bytes of a lossless file can claim months of silence

constexpr const char* kFormatHint =
    "WAV, FLAC, OGG, MP3, AIFF and telephones' M4A, MP4, 3GP, AMR and WebM are read. Open it in a sound editor and "
    "save it as WAV.";

/// The first bytes, or why the path cannot be read at all.
Result<std::string> peek(const std::string& path) {
    std::error_code code;
    if (std::filesystem::is_directory(path, code))
        return Error{path + ": is a folder, not a recording", "Name one sound file in it."};
    const FileHandle file{std::fopen(path.c_str(), "rb")};
    if (!file) return Error{fmt::format("{}: {}", path, std::strerror(errno)), "Check the name and the folder."};
    std::string head(12, '\0');
    head.resize(std::fread(head.data(), 1, head.size(), file.get()));
    if (head.empty()) return Error{path + ": is empty (0 bytes)", "The recording was not saved; record it again."};
    return head;
}

}  // namespace

bool is_mp4(std::string_view head) noexcept {
    constexpr std::array<std::string_view, 6> kBoxes{"ftyp", "moov", "mdat", "wide", "free", "skip"};
    return head.size() >= 8 && std::find(kBoxes.begin(), kBoxes.end(), head.substr(4, 4)) != kBoxes.end();
}

bool looks_like_phone_sound(std::string_view head) noexcept {
    if (head.size() < 12) return false;
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(head[i]); };
    return is_mp4(head) || head.starts_with("#!AMR") || head.starts_with("\x1a\x45\xdf\xa3") ||  // WebM
           head.starts_with("\x30\x26\xb2\x75") ||                                               // WMA
           (head.starts_with("RIFF") && head.substr(8, 3) == "AVI") ||
           (byte(0) == 0xff && (byte(1) & 0xf6) == 0xf0);  // bare AAC: an MP3's layer bits are never zero
}

std::optional<Error> check_sound(const std::string& path, const SoundInfo& info, int channel) {
    if (!(info.sample_rate_hz >= kLowestRate_hz && info.sample_rate_hz <= kHighestRate_hz))
        return Error{fmt::format("{}: sample rate {:.0f} Hz is not in {:.0f}..{:.0f}", path, info.sample_rate_hz,
                                 kLowestRate_hz, kHighestRate_hz),
                     "Record or convert it at 16000 to 48000 Hz."};
    if (channel < 1 || channel > info.channels)
        return Error{fmt::format("{}: channel {} is not in 1..{}", path, channel, info.channels),
                     "Choose one of its channels with --channel."};
    return {};
}

Error not_sound(const std::string& path, std::string_view reason) {
    while (!reason.empty() && (reason.back() == '.' || reason.back() == '\n')) reason.remove_suffix(1);
    return Error{fmt::format("{}: cannot be read as sound ({})", path, reason), kFormatHint};
}

std::string breaks_off_warning(const std::string& path, double read_s) {
    return fmt::format("{}: the file breaks off; the {:.1f} s that can be read are used", path, read_s);
}

struct SoundFile::Parts {
    std::string path;
    std::unique_ptr<SoundDecoder> decoder;
    std::uint64_t frames_read = 0;
    std::optional<std::string> warning;
};

SoundFile::SoundFile(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
SoundFile::~SoundFile() = default;
SoundFile::SoundFile(SoundFile&&) noexcept = default;
SoundFile& SoundFile::operator=(SoundFile&&) noexcept = default;

Result<SoundFile> SoundFile::open(const std::string& path, int channel) {
    const auto head = peek(path);
    if (!head) return head.error();
    auto decoder = looks_like_phone_sound(head.value()) ? open_phone_sound(path, head.value(), channel)
                                                        : open_plain_sound(path, head.value(), channel);
    if (!decoder) return decoder.error();
    return SoundFile{std::make_unique<Parts>(Parts{path, std::move(decoder.value()), 0, {}})};
}

const SoundInfo& SoundFile::info() const noexcept { return parts_->decoder->info(); }
std::uint64_t SoundFile::frames_read() const noexcept { return parts_->frames_read; }
const std::optional<std::string>& SoundFile::warning() const noexcept { return parts_->warning; }

AudioView SoundFile::read() {
    auto& p = *parts_;
    const auto most = static_cast<std::uint64_t>(kLongest_h * 3600.0 * info().sample_rate_hz);
    auto block = p.decoder->read();
    if (block.empty()) p.warning = p.decoder->warning();
    if (block.size() > most - p.frames_read) {
        block = block.first(most - p.frames_read);
        if (block.empty())
            p.warning =
                fmt::format("{}: is longer than {:.0f} hours; the sound behind is left out", p.path, kLongest_h);
    }
    p.frames_read += block.size();
    return block;
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

}  // namespace idlehark
