#pragma once

#include "src/capture/audio_system.hpp"
#include "src/capture/input_stream.hpp"
#include "src/capture/output_stream.hpp"
#include "src/live/file_player.hpp"
#include "src/live/watches.hpp"
#include "src/result.hpp"

#include <memory>
#include <optional>
#include <string>

namespace idlehark {

/// Where live sound comes from: a device, or a recording played as if it were one.
class LiveSource {
   public:
    /// `wanted`: see choose_input.
    static Result<LiveSource> device(std::string_view wanted, double sample_rate_hz, int channels);
    /// The recording's channel; `pace` as of FilePlayer. It starts to play with `start()`.
    static Result<LiveSource> file(const std::string& path, int channel, double pace);

    /// A device delivers from the moment it is open; a file needs this.
    void start();
    /// No more sound is delivered after this.
    void stop();

    [[nodiscard]] Capture& capture() noexcept { return stream_ ? stream_->capture() : *own_; }
    [[nodiscard]] double sample_rate_hz() const noexcept { return sample_rate_hz_; }
    [[nodiscard]] double latency_s() const noexcept { return stream_ ? stream_->latency_s() : 0.0; }
    [[nodiscard]] const std::string& name() const noexcept { return name_; }
    /// A device for the prompts; the system's default output. Errors: also when this is no device itself.
    [[nodiscard]] Result<OutputStream> open_output() const;
    [[nodiscard]] bool is_device() const noexcept { return stream_.has_value(); }
    /// A file that has been played to its end.
    [[nodiscard]] bool at_end() const noexcept { return player_ && player_->done(); }
    /// Why the recording cannot go on as one: unplugged, asleep, sound lost on the way. To be asked several times a
    /// second.
    [[nodiscard]] std::optional<Error> broken();

   private:
    LiveSource() = default;
    std::string name_;
    double sample_rate_hz_ = 0.0;
    std::optional<AudioSystem> system_;
    std::optional<InputStream> stream_;
    std::unique_ptr<Capture> own_;
    std::optional<SoundFile> sound_;
    std::string path_;
    double pace_ = 0.0;
    std::unique_ptr<FilePlayer> player_;
    StallWatch stall_{std::chrono::seconds{2}};
    SleepWatch sleep_;
    LagWatch lag_;
};

}  // namespace idlehark
