#pragma once

#include "src/result.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// One sound device as the user sees it. `number` is what --device takes; it holds until devices come or go.
struct AudioDevice {
    int number = 0;
    std::string name;
    std::string host;  ///< ALSA, JACK, ...
    int input_channels = 0;
    int output_channels = 0;
    double default_rate_hz = 0.0;
    bool default_input = false;
    bool default_output = false;
};

/// The sound library, open for as long as this lives. While it opens, stderr is shut: the host libraries print pages
/// of complaints about devices that nobody asked for.
class AudioSystem {
   public:
    static Result<AudioSystem> open();
    ~AudioSystem();
    AudioSystem(AudioSystem&& other) noexcept;
    AudioSystem& operator=(AudioSystem&&) = delete;

    [[nodiscard]] std::vector<AudioDevice> devices() const;

   private:
    AudioSystem() = default;
    bool open_ = true;
};

/// The device that `wanted` names, among those with input (or output) channels: its number, its whole name, or a part
/// of its name that no other device has, in any case; empty: the system's default.
/// Errors: no such device, more than one, none at all; the message lists what there is.
Result<AudioDevice> choose_input(const std::vector<AudioDevice>& devices, std::string_view wanted);
Result<AudioDevice> choose_output(const std::vector<AudioDevice>& devices, std::string_view wanted);

}  // namespace idlehark
