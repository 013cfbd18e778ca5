#pragma once

#include "src/recording/sound_file.hpp"

#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace idlehark {

inline constexpr std::size_t kBlockFrames = 65536;  ///< the longest block that a SoundFile hands out

/// What stands behind a SoundFile's door: one opened file, one channel of it, in whatever coding.
class SoundDecoder {
   public:
    SoundDecoder() = default;
    SoundDecoder(const SoundDecoder&) = delete;
    SoundDecoder& operator=(const SoundDecoder&) = delete;
    virtual ~SoundDecoder() = default;
    [[nodiscard]] virtual const SoundInfo& info() const noexcept = 0;
    /// The next block, at most kBlockFrames; empty at the end. Valid until the next call.
    [[nodiscard]] virtual AudioView read() = 0;
    /// What was wrong with the file, as far as it has been read; nothing if all was well.
    [[nodiscard]] virtual std::optional<std::string> warning() const = 0;
};

/// `head`: the file's first bytes. `channel` counts from 1.
using DecoderResult = Result<std::unique_ptr<SoundDecoder>>;
/// WAV, FLAC, OGG (Vorbis, Opus), MP3, AIFF and their like, by libsndfile.
[[nodiscard]] DecoderResult open_plain_sound(const std::string& path, std::string_view head, int channel);
/// What telephones and cameras write (MP4, 3GP, QuickTime, WebM, AMR, AAC, WMA, AVI: the first sound track, never the
/// picture), by FFmpeg's libraries. Where sound is missing or damaged, silence stands in its place, so that times stay
/// right; never more than ten minutes of it. Nothing but the file itself is opened.
[[nodiscard]] DecoderResult open_phone_sound(const std::string& path, std::string_view head, int channel);

/// Whether such a beginning is for open_phone_sound() rather than for open_plain_sound().
[[nodiscard]] bool is_mp4(std::string_view head) noexcept;  ///< or 3GP or QuickTime, which are the same
[[nodiscard]] bool looks_like_phone_sound(std::string_view head) noexcept;

/// The faults that every kind of file can have: a rate or a channel out of range.
[[nodiscard]] std::optional<Error> check_sound(const std::string& path, const SoundInfo& info, int channel);
[[nodiscard]] Error not_sound(const std::string& path, std::string_view reason);
[[nodiscard]] std::string breaks_off_warning(const std::string& path, double read_s);

}  // namespace idlehark
