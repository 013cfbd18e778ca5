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

/// A recording that goes on with the one before after a break, of which nothing is known.
struct LaterPart {
    std::string path;
    int channel = 1;
    double offset_s = 0.0;  ///< its second 0, in the time of the first
};

struct ListenRequest {
    std::string path;
    int channel = 1;
    Engine engine;
    double hop_s = 0.1;
    std::vector<LaterPart> later{};  ///< each begins within an hour of the end of the one before; else an error
};

/// Called as the recording goes by; each may be empty.
struct ListenSinks {
    std::function<void(std::span<const RpmReading>)> readings;
    std::function<void(double sample_rate_hz)> start;                       ///< before any sound of each part
    std::function<void(AudioView)> sound;                                   ///< the same samples, on another thread
    std::function<void(std::uint64_t done, std::uint64_t total)> progress;  ///< frames
    std::function<void()> gap{};  ///< sound is missing before the next samples of `sound`; on its thread
};

/// What is known about the sound once it has gone by.
struct Listened {
    double sample_rate_hz = 0.0;
    double length_s = 0.0;  ///< to the end of the last part
    struct Part {
        double offset_s = 0.0;
        double length_s = 0.0;
        bool breaks_off = false;  ///< the file ends before its header says so
    };
    std::vector<Part> parts{};
    float peak = 0.0F;
    std::uint64_t readings = 0;
    std::uint64_t locked_readings = 0;
    IdleTracker::Summary summary;
    std::vector<std::string>
        warnings;  ///< breaks off, clipped share, samples that are no numbers, other speed or cylinder count
};

/// One pass over one channel of a recording through the idle tracker, in constant memory; each part afresh, and so what
/// is behind a gap that its events tell of. Readings within the tracker's reach of a gap give no figure. Readings count
/// from the first part's beginning; rate and what the file itself is are the first part's.
Result<Listened> listen_through(const ListenRequest& request, const ListenSinks& sinks);

/// Why no reading is locked, and what to do about it; nothing if at least one is.
[[nodiscard]] std::optional<Error> why_no_lock(const Listened& heard, const ListenRequest& request);

}  // namespace idlehark
