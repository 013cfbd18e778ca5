#include "src/live/live_source.hpp"

#include <fmt/format.h>

namespace idlehark {

Result<LiveSource> LiveSource::device(std::string_view wanted, double sample_rate_hz, int channels) {
    LiveSource source;
    auto system = AudioSystem::open();
    if (!system) return system.error();
    source.system_.emplace(std::move(system.value()));
    const auto chosen = choose_input(source.system_->devices(), wanted);
    if (!chosen) return chosen.error();
    auto stream = InputStream::open({chosen.value(), sample_rate_hz, channels});
    if (!stream) return stream.error();
    source.stream_.emplace(std::move(stream.value()));
    source.name_ = chosen.value().name;
    source.sample_rate_hz_ = source.stream_->sample_rate_hz();
    return source;
}

Result<LiveSource> LiveSource::file(const std::string& path, int channel, double pace) {
    auto sound = SoundFile::open(path, channel);
    if (!sound) return sound.error();
    LiveSource source;
    source.name_ = path;
    source.path_ = path;
    source.pace_ = pace;
    source.sample_rate_hz_ = sound.value().info().sample_rate_hz;
    source.sound_.emplace(std::move(sound.value()));
    source.own_ = std::make_unique<Capture>(1);
    return source;
}

void LiveSource::start() {
    if (!sound_) return;
    player_ = std::make_unique<FilePlayer>(std::move(*sound_), path_, *own_, pace_);
    sound_.reset();
}

void LiveSource::stop() {
    // The stream object stays: the ring in it still holds sound.
    if (stream_) stream_->stop();
    player_.reset();
}

Result<OutputStream> LiveSource::open_output() const {
    if (!system_) return Error{"prompts need a microphone, not a recording", ""};
    const auto device = choose_output(system_->devices(), "");
    if (!device) return device.error();
    return OutputStream::open(device.value());
}

std::optional<Error> LiveSource::broken() {
    if (!stream_) return {};
    if (const auto slept_s = sleep_.slept_s())
        return Error{fmt::format("the machine slept for {:.0f} s; nothing was heard meanwhile", *slept_s),
                     "Go on in a new part with --resume."};
    const double heard_s = static_cast<double>(stream_->capture().frames()) / sample_rate_hz_;
    const auto now = StallWatch::Clock::now();
    if (const auto lost_s = lag_.lost_s(heard_s, std::chrono::duration<double>(now.time_since_epoch()).count()))
        return Error{
            fmt::format("{:.1f} s of sound were lost on the way here, a few seconds ago: was the program or the "
                        "machine held up?",
                        *lost_s),
            "Take nothing from the last ten seconds. Go on in a new part with --resume."};
    const bool stalled = stall_.stalled(stream_->capture().frames(), now);
    if (!stalled && stream_->running()) return {};
    return Error{fmt::format("{} delivers no more sound: was it unplugged?", name_),
                 "Plug it in, then go on in a new part with --resume."};
}

}  // namespace idlehark
