#include "src/analysis/listen.hpp"

#include "dsp/stated_idle.hpp"
#include "src/analysis/between_gaps.hpp"
#include "src/analysis/quick_tracker.hpp"
#include "src/analysis/side_thread.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kClippedShareWorthSaying = 1e-4;
constexpr double kLongestBreak_s = 3600.0;  // between two parts; the trace has cells all through it
constexpr double kShortest_s = 3.0;         // below this a missing lock is put down to the length

std::string percent(std::uint64_t part, std::uint64_t whole) {
    const double share = 100.0 * static_cast<double>(part) / static_cast<double>(whole);
    return fmt::format("{:.{}f} %", share, share < 0.1 ? 3 : 1);
}

/// What was counted before a gap joins what was counted after it.
void add(IdleTracker::Summary& to, const IdleTracker::Summary& from) {
    to.samples += from.samples;
    to.not_finite_samples += from.not_finite_samples;
    to.clipped_samples += from.clipped_samples;
    if (to.likelier_cylinders == 0) {
        to.likelier_cylinders = from.likelier_cylinders;
        to.likelier_rpm = from.likelier_rpm;
    }
}

/// Readings at a speed that is not the stated idle's.
struct NotStated {
    std::uint64_t readings = 0;
    double sum_rpm = 0.0;

    void add(const RpmReading& r, const Engine& engine) {
        if (!r.locked || is_stated_idle(engine, Rpm{r.rpm})) return;
        ++readings;
        sum_rpm += r.rpm;
    }
};

void add_warnings(Listened& heard, const ListenRequest& request, const std::optional<std::string>& file_warning,
                  const NotStated& off) {
    const auto& s = heard.summary;
    if (file_warning) heard.warnings.push_back(*file_warning);
    if (s.samples > 0 && s.not_finite_samples > 0)
        heard.warnings.push_back(fmt::format("{}: {} of the samples are no numbers (NaN or infinite); heard as silence",
                                             request.path, percent(s.not_finite_samples, s.samples)));
    if (static_cast<double>(s.clipped_samples) > kClippedShareWorthSaying * static_cast<double>(s.samples))
        heard.warnings.push_back(fmt::format("{}: {} of the samples are clipped; lower the recording level next time",
                                             request.path, percent(s.clipped_samples, s.samples)));
    if (2 * off.readings > heard.locked_readings)
        heard.warnings.push_back(fmt::format(
            "{}: the speed heard, about {:.0f} rpm, is not that of the stated idle, {:.0f} to {:.0f} rpm; look at "
            "cylinders, strokes and idle range (a cold engine idles faster)",
            request.path, off.sum_rpm / static_cast<double>(off.readings), request.engine.idle_low_rpm,
            request.engine.idle_high_rpm));
    const int stated = request.engine.cylinders;
    if (s.likelier_cylinders > 0 && stated % s.likelier_cylinders == 0)
        heard.warnings.push_back(fmt::format(
            "{}: the sound repeats {} times in a cycle of {} cylinders, and would be the same at {:.0f} rpm; "
            "compare with the instrument panel",
            request.path, stated / s.likelier_cylinders, stated, s.likelier_rpm));
    else if (s.likelier_cylinders > 0)
        heard.warnings.push_back(fmt::format(
            "{}: {} cylinders at {:.0f} rpm would explain this sound better than {}; look at cylinders in the "
            "engine file, and for one that does not fire",
            request.path, s.likelier_cylinders, s.likelier_rpm, stated));
}

Result<Listened> listen_to_one(const ListenRequest& request, const ListenSinks& sinks) {
    auto file = SoundFile::open(request.path, request.channel);
    if (!file) return file.error();
    auto& sound = file.value();
    Listened heard;
    heard.sample_rate_hz = sound.info().sample_rate_hz;

    std::optional<QuickTracker> tracker;
    try {
        tracker.emplace(IdleTrackerConfig{
            .sample_rate_hz = heard.sample_rate_hz, .engine = request.engine, .hop_s = request.hop_s});
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), ""};
    }
    if (sinks.start) sinks.start(heard.sample_rate_hz);
    SoundStretch stretch;
    NotStated off;
    const auto pass_on = [&](std::vector<RpmReading> placed) {
        for (RpmReading& r : placed) {
            place(r, stretch, tracker->latency().value);
            off.add(r, request.engine);
        }
        heard.readings += placed.size();
        heard.locked_readings += static_cast<std::uint64_t>(
            std::count_if(placed.begin(), placed.end(), [](const RpmReading& r) { return r.locked; }));
        if (sinks.readings) sinks.readings(placed);
    };
    SideThread second_ear;
    IdleTracker::Summary before_gaps;
    const auto restart = [&](std::uint64_t frame) {
        const double gap_s = static_cast<double>(frame) / heard.sample_rate_hz;
        if (sinks.gap) second_ear.give(sinks.gap);
        pass_on(tracker->catch_up());
        stretch.until_s = gap_s;
        pass_on(tracker->finish());
        add(before_gaps, tracker->summary());
        tracker->reset();
        stretch = {.from_s = gap_s};
    };
    const auto hear = [&](AudioView part) {
        if (sinks.sound)
            second_ear.give([&, sound = std::vector<float>(part.begin(), part.end())] { sinks.sound(sound); });
        pass_on(tracker->process(part));
    };
    GapCutter cutter{request.path};
    for (AudioView block = sound.read(); !block.empty(); block = sound.read()) {
        for (const float x : block)
            if (std::fabs(x) > heard.peak) heard.peak = std::fabs(x);
        cutter.cut(block, hear, restart);
        if (sinks.progress) sinks.progress(sound.frames_read(), sound.info().frames);
    }
    if (sound.frames_read() == 0)
        return Error{request.path + ": contains no sound", "The recording was not saved; record it again."};
    pass_on(tracker->finish());
    second_ear.finish();
    heard.length_s = static_cast<double>(sound.frames_read()) / heard.sample_rate_hz;
    heard.parts = {{.length_s = heard.length_s, .breaks_off = sound.warning().has_value()}};
    heard.summary = tracker->summary();
    add(heard.summary, before_gaps);
    if (cutter.gaps() > 0)
        heard.warnings.push_back(fmt::format("{}: sound is missing at {} {}; no figures are given near there",
                                             request.path, cutter.gaps(), cutter.gaps() == 1 ? "place" : "places"));
    add_warnings(heard, request, sound.warning(), off);
    return heard;
}

}  // namespace

Result<Listened> listen_through(const ListenRequest& request, const ListenSinks& sinks) {
    if (request.later.empty()) return listen_to_one(request, sinks);
    const auto parts = request.later.size() + 1;
    std::optional<Listened> all;
    for (std::size_t k = 0; k < parts; ++k) {
        auto one = request;
        one.later.clear();
        double offset_s = 0.0;
        if (k > 0) {
            one.path = request.later[k - 1].path;
            one.channel = request.later[k - 1].channel;
            offset_s = request.later[k - 1].offset_s;
            if (!(offset_s >= all->length_s && offset_s <= all->length_s + kLongestBreak_s))
                return Error{fmt::format("{}: cannot begin at {:g} s of a test whose part before ends at {:.1f} s",
                                         one.path, offset_s, all->length_s),
                             "The test's record does not fit its recordings."};
        }
        auto own = sinks;
        std::vector<RpmReading> placed;
        if (sinks.readings)
            own.readings = [&](std::span<const RpmReading> readings) {
                placed.assign(readings.begin(), readings.end());
                for (auto& r : placed) r.time_s += offset_s;
                sinks.readings(placed);
            };
        if (sinks.progress)
            own.progress = [&](std::uint64_t done, std::uint64_t total) {
                sinks.progress(k * total + done, parts * total);
            };
        auto heard = listen_to_one(one, own);
        if (!heard) return heard.error();
        auto& h = heard.value();
        if (!all) {
            all = std::move(h);
            continue;
        }
        all->length_s = offset_s + h.length_s;
        all->parts.push_back({offset_s, h.length_s, h.parts.front().breaks_off});
        all->peak = std::max(all->peak, h.peak);
        all->readings += h.readings;
        all->locked_readings += h.locked_readings;
        add(all->summary, h.summary);
        all->warnings.insert(all->warnings.end(), h.warnings.begin(), h.warnings.end());
    }
    return std::move(*all);
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
