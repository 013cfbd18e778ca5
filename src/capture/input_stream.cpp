#include "src/capture/input_stream.hpp"

#include "src/capture/callback.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kLatency_s = 0.04;  // short enough for live figures, long enough for a busy small machine

/// The host's own words, where it has any: "Device unavailable" alone helps nobody.
std::string reason(PaError code) {
    if (code != paUnanticipatedHostError) return Pa_GetErrorText(code);
    const PaHostErrorInfo* host = Pa_GetLastHostErrorInfo();
    return host && host->errorText && *host->errorText ? host->errorText : Pa_GetErrorText(code);
}

}  // namespace

struct InputStream::Parts {
    explicit Parts(int channels) : capture(channels) {}
    ~Parts() { close(); }
    void close() noexcept {
        if (stream) Pa_CloseStream(std::exchange(stream, nullptr));  // stops it first: no callback after this
    }
    Parts(const Parts&) = delete;
    Parts& operator=(const Parts&) = delete;

    Capture capture;
    PaStream* stream = nullptr;
    double sample_rate_hz = 0.0;
    double latency_s = 0.0;
};

InputStream::InputStream(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
InputStream::~InputStream() = default;
InputStream::InputStream(InputStream&&) noexcept = default;

Result<InputStream> InputStream::open(const InputRequest& request) {
    const auto& device = request.device;
    const int most = std::min(device.input_channels, kMostCaptureChannels);
    const int channels = request.channels == 0 ? most : request.channels;
    if (channels < 1 || channels > most)
        return Error{fmt::format("{}: {} channels are not to be had; it has {}", device.name, channels, most), ""};
    const double rate_hz = request.sample_rate_hz > 0.0 ? request.sample_rate_hz : device.default_rate_hz;

    auto parts = std::make_unique<Parts>(channels);
    const PaDeviceInfo* info = Pa_GetDeviceInfo(device.number);
    if (!info) return Error{fmt::format("{}: is gone", device.name), "`idlehark devices` lists what there is."};
    const PaStreamParameters input{.device = device.number,
                                   .channelCount = channels,
                                   .sampleFormat = paFloat32,
                                   .suggestedLatency = std::max(kLatency_s, info->defaultLowInputLatency),
                                   .hostApiSpecificStreamInfo = nullptr};
    // No paClipOff or dither flags: input conversion to float needs neither.
    PaError code = Pa_OpenStream(&parts->stream, &input, nullptr, rate_hz, paFramesPerBufferUnspecified, paNoFlag,
                                 &idlehark_on_audio, &parts->capture);
    if (code != paNoError) {
        parts->stream = nullptr;
        return Error{
            fmt::format("{}: cannot be opened with {} channels at {:.0f} Hz ({})", device.name, channels, rate_hz,
                        reason(code)),
            fmt::format("Is another program using it? Its default rate is {:.0f} Hz.", device.default_rate_hz)};
    }
    const PaStreamInfo* got = Pa_GetStreamInfo(parts->stream);
    parts->sample_rate_hz = got ? got->sampleRate : rate_hz;
    parts->latency_s = got ? got->inputLatency : 0.0;
    code = Pa_StartStream(parts->stream);
    if (code != paNoError) return Error{fmt::format("{}: doesn't start ({})", device.name, reason(code)), ""};
    return InputStream{std::move(parts)};
}

Capture& InputStream::capture() noexcept { return parts_->capture; }
double InputStream::sample_rate_hz() const noexcept { return parts_->sample_rate_hz; }
double InputStream::latency_s() const noexcept { return parts_->latency_s; }
bool InputStream::running() const noexcept { return parts_->stream && Pa_IsStreamActive(parts_->stream) == 1; }
void InputStream::stop() noexcept { parts_->close(); }

}  // namespace idlehark
