#pragma once

#include "src/result.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// What a recording says about itself, kept beside it as NAME.settings.json.
struct RecordingSettings {
    std::string device;
    double sample_rate_hz = 48000.0;
    int channels = 1;
    int microphone_channel = 1;
    std::string started_at;  ///< civil time, ISO 8601
    std::string continues;   ///< the part before this one, if any
};

/// The files of one recording: bay.flac, bay.marks.csv, bay.events.csv, bay.settings.json.
struct RecordingNames {
    explicit RecordingNames(const std::string& sound_path);
    std::string sound, marks, events, settings;
    /// The first of them that exists.
    [[nodiscard]] std::optional<std::string> taken() const;
};

/// bay.flac -> bay-part2.flac, bay-part3.flac ...: the first of which no file exists yet, nor any beside it.
[[nodiscard]] std::string next_part(const std::string& sound_path);

/// A gap in a recording: sound is missing before `frame`.
struct RecordedGap {
    std::uint64_t frame = 0;
    std::uint64_t lost_frames = 0;  ///< 0: unknown
};

/// The gaps that a recording's events file tells of; none if there is no such file. Torn last lines are left out.
[[nodiscard]] std::vector<RecordedGap> read_gaps(const std::string& sound_path);

/// Writes a recording while it happens: .wav or .flac, 24 bit, with events and settings beside it.
/// Safety   whatever ends the program, the file opens and holds all sound but the last half second; events are on the
///          disk when the call returns. WAV: the header is refreshed every quarter second of sound. FLAC: blocks go
///          out as they fill (4096 frames), readers take a cut stream up to its last whole block. A thread of its own
///          pushes the sound to the disk four times a second, for the case of a power cut.
/// Errors   create(): the name's ending, a file that exists (nothing is overwritten); it leaves nothing behind.
/// write(): the disk is full, or
///          nearly (`reserve_bytes` are left for marks and header), or a WAV reached 4 GiB; all before stays good.
/// Threads  one owner.
class Recorder {
   public:
    static Result<Recorder> create(const std::string& path, const RecordingSettings& settings,
                                   std::uint64_t reserve_bytes = 1U << 20U);
    ~Recorder();
    Recorder(Recorder&&) noexcept;
    Recorder& operator=(Recorder&&) = delete;

    /// Interleaved samples as of `to_24_bits`.
    Result<Done> write(std::span<const std::int32_t> interleaved);
    Result<Done> gap(std::uint64_t lost_frames);
    /// Closes the sound and notes why. Errors: the last of the sound could not be written.
    Result<Done> finish(const std::string& why);

    [[nodiscard]] std::uint64_t frames() const noexcept;
    [[nodiscard]] const RecordingNames& names() const noexcept;

   private:
    struct Parts;
    static Result<std::unique_ptr<Parts>> begin(const RecordingNames& names, const RecordingSettings& settings,
                                                std::uint64_t reserve_bytes, std::vector<std::string>& made);
    explicit Recorder(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
