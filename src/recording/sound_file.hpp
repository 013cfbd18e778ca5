#pragma once

#include "dsp/units.hpp"
#include "src/result.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

struct SoundInfo {
    double sample_rate_hz = 0.0;
    int channels = 0;
    std::uint64_t frames = 0;  ///< as the file's header states it, 0 if it doesn't; what can be read may be less
};

/// Reads one channel of a recording block by block, in constant memory.
/// Input    WAV, FLAC, OGG, MP3, AIFF (and CAF, AU, W64, RF64); what telephones write: M4A, MP4, MOV, 3GP, AMR, AAC,
///          WebM, WMA, AVI (the first sound track); 8..192 kHz; any sample format; any channel count.
/// Output   mono float, nominal -1..1, nothing resampled, nothing clamped.
/// Errors   open(): one message per cause (missing, directory, empty, not sound, rate, channel), with a way out.
///          A file that breaks off is read as far as it goes, damaged stretches of a telephone's file are silent;
///          `warning()` says so, as it does of more than 24 hours, which are not read.
/// Threads  one owner.
class SoundFile {
   public:
    /// `channel` counts from 1.
    static Result<SoundFile> open(const std::string& path, int channel = 1);
    ~SoundFile();
    SoundFile(SoundFile&&) noexcept;
    SoundFile& operator=(SoundFile&&) noexcept;

    [[nodiscard]] const SoundInfo& info() const noexcept;
    /// The next block, at most 65536 frames; empty at the end. Valid until the next call.
    [[nodiscard]] AudioView read();
    [[nodiscard]] std::uint64_t frames_read() const noexcept;
    /// Complete once read() has returned an empty block.
    [[nodiscard]] const std::optional<std::string>& warning() const noexcept;

   private:
    struct Parts;
    explicit SoundFile(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

/// A whole recording in memory, for work that needs it all at once.
struct Sound {
    double sample_rate_hz = 0.0;
    std::vector<float> samples;
    std::optional<std::string> warning;
};
Result<Sound> read_sound(const std::string& path, int channel = 1);

/// Writes mono sound block by block. The name's ending chooses the format: .wav and .flac (16 bit), .ogg (Vorbis).
/// Values beyond -1..1 are clipped.
class SoundWriter {
   public:
    static Result<SoundWriter> open(const std::string& path, double sample_rate_hz);
    ~SoundWriter();
    SoundWriter(SoundWriter&&) noexcept;
    SoundWriter& operator=(SoundWriter&&) noexcept;

    Result<Done> write(AudioView samples);

   private:
    struct Parts;
    explicit SoundWriter(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
