#include "dsp/idle_tracker.hpp"

#include "dsp/track/comb_listener.hpp"
#include "dsp/track/speed_reader.hpp"

#include <optional>
#include <stdexcept>
#include <string>

// The way through: CombListener: FrontEnd (lines and envelopes) -> CombSearch every tenth of a second; SpeedReader:
// SpeedPath (best path over the last frames) -> every half second the lock is judged and PhaseRefiner turns the path's
// last two seconds into fine speeds -> readings on the caller's grid.

namespace idlehark {

namespace {
IdleTrackerConfig checked(IdleTrackerConfig c) {
    check(c.engine);
    if (!(c.sample_rate_hz >= 8000.0 && c.sample_rate_hz <= 192000.0))
        throw std::invalid_argument("sample_rate_hz: " + std::to_string(c.sample_rate_hz) + " is not in 8000..192000");
    if (!(c.hop_s >= 0.02 && c.hop_s <= 2.0))
        throw std::invalid_argument("hop_s: " + std::to_string(c.hop_s) + " is not in 0.02..2");
    return c;
}
}  // namespace

struct IdleTracker::Frames {
    std::vector<CombFrame> frames;
    std::optional<double> end_s{};  ///< of the recording, where it ends
};

struct IdleTracker::Parts {
    explicit Parts(const IdleTrackerConfig& c)
        : config(checked(c)), listener(c.sample_rate_hz, c.engine), reader(c, listener) {}

    IdleTrackerConfig config;
    CombListener listener;
    SpeedReader reader;
    std::vector<RpmReading> readings;
    Summary summary;

    void take(const Heard& heard) {
        for (const auto& frame : heard->frames) reader.take(frame, readings);
        if (heard->end_s) reader.finish(*heard->end_s, readings);
    }
};

IdleTracker::IdleTracker(const IdleTrackerConfig& config) : parts_(std::make_unique<Parts>(config)) {}
IdleTracker::~IdleTracker() = default;
IdleTracker::IdleTracker(IdleTracker&&) noexcept = default;
IdleTracker& IdleTracker::operator=(IdleTracker&&) noexcept = default;

std::span<const RpmReading> IdleTracker::process(AudioView x) {
    auto& p = *parts_;
    p.readings.clear();
    in_parts(x, [&](AudioView part) { p.take(hear(part)); });
    return p.readings;
}

std::span<const RpmReading> IdleTracker::finish() { return read(hear_end()); }

IdleTracker::Heard IdleTracker::hear(AudioView x) {
    Frames heard;
    parts_->listener.process(x, heard.frames);
    return std::make_shared<const Frames>(std::move(heard));
}

IdleTracker::Heard IdleTracker::hear_end() {
    Frames heard{.frames = {}, .end_s = parts_->listener.end_of_sound_s()};
    parts_->listener.finish(heard.frames);
    return std::make_shared<const Frames>(std::move(heard));
}

std::span<const RpmReading> IdleTracker::read(const Heard& heard) {
    parts_->readings.clear();
    parts_->take(heard);
    return parts_->readings;
}

void IdleTracker::reset() {
    const auto config = parts_->config;
    parts_ = std::make_unique<Parts>(config);
}

Seconds IdleTracker::latency() const noexcept {
    return Seconds{0.5 * parts_->listener.search().window_s() + SpeedReader::look_ahead_s()};
}

const IdleTracker::Summary& IdleTracker::summary() const noexcept {
    auto& p = *parts_;
    const auto& sound = p.listener.sound();
    p.summary.likelier_cylinders = p.reader.run_speed().likelier_cylinders();
    p.summary.likelier_rpm = p.reader.run_speed().likelier_rpm();
    p.summary.samples = sound.samples;
    p.summary.clipped_samples = sound.clipped_samples;
    p.summary.not_finite_samples = sound.not_finite_samples;
    return p.summary;
}

std::vector<RpmReading> track_idle(const IdleTrackerConfig& config, AudioView x) {
    IdleTracker tracker(config);
    std::vector<RpmReading> all;
    const auto part = tracker.process(x);
    all.assign(part.begin(), part.end());
    const auto rest = tracker.finish();
    all.insert(all.end(), rest.begin(), rest.end());
    return all;
}

}  // namespace idlehark
