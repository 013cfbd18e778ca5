#include "src/capture/output_stream.hpp"

#include <algorithm>
#include <atomic>
#include <utility>

#include <fmt/format.h>
#include <portaudio.h>

namespace idlehark {

struct OutputStream::Parts {
    Parts() = default;
    ~Parts() {
        if (stream) Pa_CloseStream(stream);
    }
    Parts(const Parts&) = delete;
    Parts& operator=(const Parts&) = delete;

    void fill(float* out, unsigned long frames) noexcept {
        std::fill_n(out, frames, 0.0F);
        if (!playing.load(std::memory_order_acquire)) return;
        const auto n = std::min<std::size_t>(frames, sound.size() - at);
        if (!hushed.load(std::memory_order_relaxed)) std::copy_n(sound.data() + at, n, out);
        at += n;
        // The release gives `sound` back to the owner.
        if (at == sound.size() || hushed.load(std::memory_order_relaxed))
            playing.store(false, std::memory_order_release);
    }

    PaStream* stream = nullptr;
    double sample_rate_hz = 0.0;
    std::vector<float> sound;  // the callback's while `playing`, else the owner's; so is `at`
    std::size_t at = 0;
    std::atomic<bool> playing{false};
    std::atomic<bool> hushed{false};
};

OutputStream::OutputStream(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
OutputStream::~OutputStream() = default;
OutputStream::OutputStream(OutputStream&&) noexcept = default;

Result<OutputStream> OutputStream::open(const AudioDevice& device) {
    auto parts = std::make_unique<Parts>();
    const PaDeviceInfo* info = Pa_GetDeviceInfo(device.number);
    if (!info) return Error{fmt::format("{}: is gone", device.name), "`idlehark devices` lists what there is."};
    const PaStreamParameters output{.device = device.number,
                                    .channelCount = 1,
                                    .sampleFormat = paFloat32,
                                    .suggestedLatency = info->defaultHighOutputLatency,
                                    .hostApiSpecificStreamInfo = nullptr};
    PaStreamCallback* const fill = [](const void*, void* out, unsigned long frames, const PaStreamCallbackTimeInfo*,
                                      PaStreamCallbackFlags, void* user) {
        static_cast<Parts*>(user)->fill(static_cast<float*>(out), frames);
        return static_cast<int>(paContinue);
    };
    PaError code = Pa_OpenStream(&parts->stream, nullptr, &output, device.default_rate_hz, paFramesPerBufferUnspecified,
                                 paNoFlag, fill, parts.get());
    if (code != paNoError) parts->stream = nullptr;
    if (code == paNoError) code = Pa_StartStream(parts->stream);
    if (code != paNoError) return Error{fmt::format("{}: plays nothing ({})", device.name, Pa_GetErrorText(code)), ""};
    const PaStreamInfo* got = Pa_GetStreamInfo(parts->stream);
    parts->sample_rate_hz = got ? got->sampleRate : device.default_rate_hz;
    return OutputStream{std::move(parts)};
}

double OutputStream::sample_rate_hz() const noexcept { return parts_->sample_rate_hz; }
bool OutputStream::playing() const noexcept { return parts_->playing.load(std::memory_order_acquire); }

bool OutputStream::play(std::vector<float> mono) {
    if (playing()) return false;
    if (mono.empty()) return true;
    parts_->sound = std::move(mono);
    parts_->at = 0;
    parts_->hushed.store(false, std::memory_order_relaxed);
    parts_->playing.store(true, std::memory_order_release);
    return true;
}

void OutputStream::hush() noexcept { parts_->hushed.store(true, std::memory_order_relaxed); }

}  // namespace idlehark
