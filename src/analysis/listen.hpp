#pragma once

#include "dsp/idle_tracker.hpp"
#include "src/result.hpp"

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

struct ListenRequest {
    std::string path;
    int channel = 1;
    Engine engine;
    double hop_s = 0.1;
};

/// Called as the recording goes by; each may be empty.
struct ListenSinks {
    std::function<void(std::span<const RpmReading>)> readings;
    std::function<void(double sample_rate_hz)> start;                       ///< once, before any sound
    std::function<void(AudioView)> sound;                                   ///< the same samples, for another listener
    std::function<void(std::uint64_t done, std::uint64_t total)> progress;  ///< frames
};

/// What is known about the sound once it has gone by.
struct Listened {
    double sample_rate_hz = 0.0;
    double length_s = 0.0;
    bool breaks_off = false;  ///< the file ends before its header says so
    float peak = 0.0F;
    std::uint64_t readings = 0;
    std::uint64_t locked_readings = 0;
    IdleTracker::Summary summary;
    std::vector<std::string>
        warnings;  ///< breaks off, clipped share, samples that are no numbers, other cylinder count
};

/// One pass over one channel of a recording through the idle tracker, in constant memory.
Result<Listened> listen_through(const ListenRequest& request, const ListenSinks& sinks);

/// Why no reading is locked, and what to do about it; nothing if at least one is.
[[nodiscard]] std::optional<Error> why_no_lock(const Listened& heard, const ListenRequest& request);

}  // namespace idlehark
