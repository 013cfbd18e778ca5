#pragma once

// Open recordings of real engines, which are not part of the project: MANIFEST.md in their folder gives source, licence
// and what is known of each. The folder is $IDLEHARK_REAL_DIR, or `shared/real` beside the source tree. Where it is
// missing the tests that need it say so and check nothing.

#include "dsp/idle_tracker.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

namespace real_recordings {

using namespace idlehark;

inline std::filesystem::path real_dir() {
    const char* set = std::getenv("IDLEHARK_REAL_DIR");
    return set != nullptr ? std::filesystem::path(set) : std::filesystem::path(IDLEHARK_REAL_DIR_BESIDE);
}

/// Nothing, with a visible warning, when the folder is not there. A file missing from a folder that is there fails.
inline std::optional<Sound> real_sound(const std::string& name) {
    if (!std::filesystem::is_directory(real_dir())) {
        WARN("NOT CHECKED: no real recordings at " << real_dir().lexically_normal().string()
                                                   << " (set IDLEHARK_REAL_DIR)");
        return std::nullopt;
    }
    auto sound = read_sound((real_dir() / name).string());
    INFO(name);
    REQUIRE(sound);
    return std::move(sound.value());
}

/// Up to the last sample that is not a digital zero.
inline std::size_t sounding_frames(const Sound& sound) {
    auto last = sound.samples.size();
    while (last > 0 && sound.samples[last - 1] == 0.0F) --last;
    return last;
}

inline std::vector<RpmReading> readings(const Sound& sound, int cylinders, double low_rpm, double high_rpm) {
    IdleTrackerConfig config;
    config.sample_rate_hz = sound.sample_rate_hz;
    config.engine.cylinders = cylinders;
    config.engine.idle_low_rpm = low_rpm;
    config.engine.idle_high_rpm = high_rpm;
    return track_idle(config, sound.samples);
}

inline std::vector<double> locked_rpm(const std::vector<RpmReading>& all, double from_s = 0.0, double to_s = 1e9) {
    std::vector<double> rpm;
    for (const RpmReading& r : all)
        if (r.locked && r.time_s >= from_s && r.time_s <= to_s) rpm.push_back(r.rpm);
    return rpm;
}

inline std::size_t count(const std::vector<RpmReading>& all, double from_s, double to_s) {
    return static_cast<std::size_t>(std::count_if(
        all.begin(), all.end(), [&](const RpmReading& r) { return r.time_s >= from_s && r.time_s <= to_s; }));
}

}  // namespace real_recordings
