#pragma once

#include "src/live/live_session.hpp"
#include "src/live/terminal.hpp"

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// What the terminal shows while listening or recording: plain values.
struct ListenView {
    std::string device;
    std::string recording;  ///< file name; empty: nothing is recorded
    bool measuring = true;  ///< an engine is known
    double heard_s = 0.0;
    std::vector<double> peaks_dbfs;  ///< by channel
    int microphone_channel = 1;
    CaptureLosses losses;
    std::uint64_t clipped_samples = 0;
    std::deque<LiveReading> recent;  ///< the newest at the back; at most kRecentReadings
    std::string spot;                ///< where the next mark goes
    std::vector<std::string> marks;  ///< "71.2 s  7"
    std::string message;

    static constexpr std::size_t kRecentReadings = 600;
    void add(const LiveReading& reading);
    /// Peaks of the newest sound, by channel; what was loud lately falls slowly.
    void hear(std::span<const float> peaks, int channels);
};

/// Amplitude of the swing of idle speed over the last 20 s: sqrt 2 times its standard deviation; nothing with fewer
/// than 5 s of locked readings.
[[nodiscard]] std::optional<double> hunting_rpm(const std::deque<LiveReading>& recent);

/// The newest `columns` readings as a line of bars from the lowest to the highest of them; a blank where nothing was
/// locked. Its span is never less than 20 rpm, so that a steady idle looks steady.
[[nodiscard]] std::string speed_line(const std::deque<LiveReading>& recent, int columns, bool unicode);

/// The lines to show in a window of that size, the most needed first. Any size, also 1 by 1.
[[nodiscard]] std::vector<std::string> lay_out(const ListenView& view, TerminalSize size, bool unicode);

}  // namespace idlehark
