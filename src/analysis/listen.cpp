#include "src/analysis/listen.hpp"

#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kClippedShareWorthSaying = 1e-4;
constexpr double kShortest_s = 3.0;  // below this a missing lock is put down to the length

std::string percent(std::uint64_t part, std::uint64_t whole) {
    const double share = 100.0 * static_cast<double>(part) / static_cast<double>(whole);
    return fmt::format("{:.{}f} %", share, share < 0.1 ? 3 : 1);
}

void add_warnings(Listened& heard, const ListenRequest& request, const std::optional<std::string>& file_warning) {
    const auto& s = heard.summary;
    if (file_warning) heard.warnings.push_back(*file_warning);
    if (s.samples > 0 && s.not_finite_samples > 0)
        heard.warnings.push_back(fmt::format("{}: {} of the samples are no numbers (NaN or infinite); heard as silence",
                                             request.path, percent(s.not_finite_samples, s.samples)));
    if (static_cast<double>(s.clipped_samples) > kClippedShareWorthSaying * static_cast<double>(s.samples))
        heard.warnings.push_back(fmt::format("{}: {} of the samples are clipped; lower the recording level next time",
                                             request.path, percent(s.clipped_samples, s.samples)));
    if (s.likelier_cylinders > 0)
        heard.warnings.push_back(fmt::format("{}: {} cylinders at {:.0f} rpm would explain this sound better than {}",
                                             request.path, s.likelier_cylinders, s.likelier_rpm,
                                             request.engine.cylinders));
}

}  // namespace

Result<Listened> listen_through(const ListenRequest& request, const ListenSinks& sinks) {
    auto file = SoundFile::open(request.path, request.channel);
    if (!file) return file.error();
    auto& sound = file.value();
    Listened heard;
    heard.sample_rate_hz = sound.info().sample_rate_hz;

    std::optional<IdleTracker> tracker;
    try {
        tracker.emplace(IdleTrackerConfig{
            .sample_rate_hz = heard.sample_rate_hz, .engine = request.engine, .hop_s = request.hop_s});
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), ""};
    }
    if (sinks.start) sinks.start(heard.sample_rate_hz);
    const auto pass_on = [&](std::span<const RpmReading> readings) {
        heard.readings += readings.size();
        heard.locked_readings += static_cast<std::uint64_t>(
            std::count_if(readings.begin(), readings.end(), [](const RpmReading& r) { return r.locked; }));
        if (sinks.readings) sinks.readings(readings);
    };
    for (AudioView block = sound.read(); !block.empty(); block = sound.read()) {
        for (const float x : block)
            if (std::fabs(x) > heard.peak) heard.peak = std::fabs(x);
        pass_on(tracker->process(block));
        if (sinks.sound) sinks.sound(block);
        if (sinks.progress) sinks.progress(sound.frames_read(), sound.info().frames);
    }
    if (sound.frames_read() == 0)
        return Error{request.path + ": contains no sound", "The recording was not saved; record it again."};
    pass_on(tracker->finish());
    heard.length_s = static_cast<double>(sound.frames_read()) / heard.sample_rate_hz;
    heard.breaks_off = sound.warning().has_value();
    heard.summary = tracker->summary();
    add_warnings(heard, request, sound.warning());
    return heard;
}

std::optional<Error> why_no_lock(const Listened& heard, const ListenRequest& request) {
    if (heard.locked_readings > 0) return {};
    if (heard.summary.not_finite_samples == heard.summary.samples)
        return Error{request.path + ": no sample is a number", "The file is damaged; record it again."};
    if (heard.peak == 0.0F)
        return Error{request.path + ": is silent", "Was the microphone plugged in and not muted? Try --channel 2."};
    if (heard.length_s < kShortest_s)
        return Error{
            fmt::format("{}: {:.1f} s of sound is too short to find an idle speed", request.path, heard.length_s),
            "Record at least ten seconds; a spray test needs a minute and more."};
    return Error{fmt::format("{}: no idle speed between {:g} and {:g} rpm can be followed in {:.1f} s of sound",
                             request.path, request.engine.idle_low_rpm, request.engine.idle_high_rpm, heard.length_s),
                 "Check cylinders, strokes and idle range; hold the microphone nearer to the engine, away from fans."};
}

}  // namespace idlehark
