#include "src/recording/sound_decoder.hpp"
#include "src/recording/sound_handle.hpp"

#include <algorithm>
#include <array>
#include <filesystem>
#include <vector>

#include <sndfile.h>

namespace idlehark {

namespace {

constexpr std::size_t kBlockSamples = 262144;  // over all channels: bounds the memory of many-channel files

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

class PlainDecoder final : public SoundDecoder {
   public:
    PlainDecoder(std::string path, SoundHandle handle, const SoundInfo& info, int channel, bool header_says_more)
        : path_(std::move(path)),
          handle_(std::move(handle)),
          info_(info),
          channel_(static_cast<std::size_t>(channel - 1)),
          header_says_more_(header_says_more) {
        const auto channels = static_cast<std::size_t>(info.channels);
        const std::size_t frames = std::clamp<std::size_t>(kBlockSamples / channels, 1, kBlockFrames);
        interleaved_.resize(frames * channels);
        if (channels > 1) mono_.resize(frames);
    }

    [[nodiscard]] const SoundInfo& info() const noexcept override { return info_; }
    [[nodiscard]] std::optional<std::string> warning() const override { return warning_; }

    [[nodiscard]] AudioView read() override {
        const auto channels = static_cast<std::size_t>(info_.channels);
        const auto wanted = static_cast<sf_count_t>(interleaved_.size() / channels);
        const auto got = std::max<sf_count_t>(sf_readf_float(handle_.get(), interleaved_.data(), wanted), 0);
        const auto frames = static_cast<std::size_t>(got);
        frames_read_ += frames;
        if (frames == 0 && !warning_ && (header_says_more_ || frames_read_ < info_.frames))
            warning_ = breaks_off_warning(path_, static_cast<double>(frames_read_) / info_.sample_rate_hz);
        if (channels == 1) return {interleaved_.data(), frames};
        for (std::size_t i = 0; i < frames; ++i) mono_[i] = interleaved_[i * channels + channel_];
        return {mono_.data(), frames};
    }

   private:
    std::string path_;
    SoundHandle handle_;
    SoundInfo info_;
    std::size_t channel_;             // from 0
    std::vector<float> interleaved_;  // as read
    std::vector<float> mono_;         // the chosen channel; unused when the file has one
    std::uint64_t frames_read_ = 0;
    bool header_says_more_;
    std::optional<std::string> warning_;
};

}  // namespace

DecoderResult open_plain_sound(const std::string& path, std::string_view head, int channel) {
    SF_INFO opened{};
    SoundHandle handle{sf_open(path.c_str(), SFM_READ, &opened)};
    if (!handle) return not_sound(path, sf_strerror(nullptr));
    if (!known_format(opened.format)) return not_sound(path, "a format that is not supported");
    // A FLAC that was cut off does not know its length, and the library says the most there is.
    const bool length_known = opened.frames >= 0 && opened.frames < SF_COUNT_MAX;
    const SoundInfo info{.sample_rate_hz = static_cast<double>(opened.samplerate),
                         .channels = opened.channels,
                         .frames = length_known ? static_cast<std::uint64_t>(opened.frames) : 0};
    if (const auto wrong = check_sound(path, info, channel)) return *wrong;
    return std::unique_ptr<SoundDecoder>{std::make_unique<PlainDecoder>(path, std::move(handle), info, channel,
                                                                        !length_known || breaks_off(path, head))};
}

}  // namespace idlehark
