#include "src/capture/audio_system.hpp"

#include <algorithm>
#include <cctype>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <portaudio.h>
#include <unistd.h>

namespace idlehark {

namespace {

/// stderr leads nowhere for as long as this lives.
class ShutStderr {
   public:
    ShutStderr() : kept_(dup(STDERR_FILENO)) {
        const int nowhere = ::open("/dev/null", O_WRONLY | O_CLOEXEC);
        if (nowhere < 0) return;
        dup2(nowhere, STDERR_FILENO);
        close(nowhere);
    }
    ~ShutStderr() {
        if (kept_ < 0) return;
        dup2(kept_, STDERR_FILENO);
        close(kept_);
    }
    ShutStderr(const ShutStderr&) = delete;
    ShutStderr& operator=(const ShutStderr&) = delete;

   private:
    int kept_;
};

std::string lower(std::string_view text) {
    std::string result{text};
    for (char& c : result) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return result;
}

Result<AudioDevice> choose(const std::vector<AudioDevice>& all, std::string_view wanted, int AudioDevice::*channels,
                           bool AudioDevice::*is_default, const char* kind) {
    std::vector<AudioDevice> usable;
    for (const auto& d : all)
        if (d.*channels > 0) usable.push_back(d);
    if (usable.empty())
        return Error{fmt::format("no sound {} was found", kind),
                     "Is it plugged in, and is the sound server running? `idlehark devices` lists what there is."};
    if (wanted.empty()) {
        const auto it = std::find_if(usable.begin(), usable.end(), [&](const auto& d) { return d.*is_default; });
        return it == usable.end() ? usable.front() : *it;
    }
    std::vector<AudioDevice> matches;
    const bool number = std::all_of(wanted.begin(), wanted.end(), [](char c) { return c >= '0' && c <= '9'; });
    for (const auto& d : usable) {
        if (number ? std::to_string(d.number) == wanted : lower(d.name) == lower(wanted)) return d;
        if (!number && lower(d.name).find(lower(wanted)) != std::string::npos) matches.push_back(d);
    }
    if (matches.size() == 1) return matches.front();
    std::string list;
    for (const auto& d : matches.empty() ? usable : matches) list += fmt::format("\n    {:2}  {}", d.number, d.name);
    if (matches.empty())
        return Error{fmt::format("no sound {} is called or numbered \"{}\"", kind, wanted), "There are:" + list};
    return Error{fmt::format("\"{}\" fits more than one sound {}", wanted, kind), "Give the number or more of:" + list};
}

}  // namespace

Result<AudioSystem> AudioSystem::open() {
    const ShutStderr quiet;
    const PaError code = Pa_Initialize();
    if (code != paNoError) return Error{fmt::format("the sound system doesn't start ({})", Pa_GetErrorText(code)), ""};
    return AudioSystem{};
}

AudioSystem::AudioSystem(AudioSystem&& other) noexcept : open_(std::exchange(other.open_, false)) {}

AudioSystem::~AudioSystem() {
    if (open_) Pa_Terminate();
}

std::vector<AudioDevice> AudioSystem::devices() const {
    std::vector<AudioDevice> result;
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) {
        const PaDeviceInfo* info = Pa_GetDeviceInfo(i);
        if (!info) continue;
        const PaHostApiInfo* host = Pa_GetHostApiInfo(info->hostApi);
        result.push_back({.number = i,
                          .name = info->name ? info->name : "",
                          .host = host && host->name ? host->name : "",
                          .input_channels = info->maxInputChannels,
                          .output_channels = info->maxOutputChannels,
                          .default_rate_hz = info->defaultSampleRate,
                          .default_input = i == Pa_GetDefaultInputDevice(),
                          .default_output = i == Pa_GetDefaultOutputDevice()});
    }
    return result;
}

Result<AudioDevice> choose_input(const std::vector<AudioDevice>& devices, std::string_view wanted) {
    return choose(devices, wanted, &AudioDevice::input_channels, &AudioDevice::default_input, "input");
}

Result<AudioDevice> choose_output(const std::vector<AudioDevice>& devices, std::string_view wanted) {
    return choose(devices, wanted, &AudioDevice::output_channels, &AudioDevice::default_output, "output");
}

}  // namespace idlehark
