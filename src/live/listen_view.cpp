#include "src/live/listen_view.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kHunting_s = 20.0;
constexpr double kHuntingAtLeast_s = 5.0;
constexpr double kSmallestSpan_rpm = 20.0;
constexpr double kMeterFloor_dbfs = -60.0;
constexpr double kSilent_dbfs = -99.0;
constexpr double kFall_db = 1.0;  // of a peak that was, per look

std::string meter(double peak_dbfs, int width) {
    const double share = std::clamp(1.0 - peak_dbfs / kMeterFloor_dbfs, 0.0, 1.0);
    const auto full = static_cast<std::size_t>(std::lround(share * width));
    return std::string(full, '#') + std::string(static_cast<std::size_t>(width) - full, '.');
}

std::string speed_text(const ListenView& view) {
    if (!view.measuring) return "recording";
    if (view.recent.empty()) return "listening ...";
    const auto& [r, near_gap] = view.recent.back();
    if (near_gap) return "   -- rpm   sound is missing near here";
    if (!r.locked) return "   -- rpm   no lock: no idle speed can be followed";
    return fmt::format("{:6.1f} rpm +- {:.1f}   locked", r.rpm, 0.5 * (r.rpm_high - r.rpm_low));
}

}  // namespace

void ListenView::add(const LiveReading& reading) {
    recent.push_back(reading);
    if (recent.size() > kRecentReadings) recent.pop_front();
}

void ListenView::hear(std::span<const float> peaks, int channels) {
    peaks_dbfs.resize(static_cast<std::size_t>(std::max(channels, 0)), kSilent_dbfs);
    for (std::size_t c = 0; c < std::min(peaks.size(), peaks_dbfs.size()); ++c) {
        const double now_dbfs = peaks[c] > 0.0F ? 20.0 * std::log10(static_cast<double>(peaks[c])) : kSilent_dbfs;
        peaks_dbfs[c] = std::max({now_dbfs, peaks_dbfs[c] - kFall_db, kSilent_dbfs});
    }
}

std::optional<double> hunting_rpm(const std::deque<LiveReading>& recent) {
    if (recent.empty()) return {};
    double sum = 0.0;
    double square = 0.0;
    int n = 0;
    double first_s = recent.back().reading.time_s;
    const double from_s = first_s - kHunting_s;
    for (const auto& [r, near_gap] : recent) {
        if (r.time_s < from_s || !r.locked) continue;
        first_s = std::min(first_s, r.time_s);
        sum += r.rpm;
        square += r.rpm * r.rpm;
        ++n;
    }
    if (n < 10 || recent.back().reading.time_s - first_s < kHuntingAtLeast_s) return {};
    const double mean = sum / n;
    return std::sqrt(2.0 * std::max(square / n - mean * mean, 0.0));
}

std::string speed_line(const std::deque<LiveReading>& recent, int columns, bool unicode) {
    static constexpr std::array kBars{"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    static constexpr std::array kPlain{"_", ".", ",", "-", "~", "=", "^", "\""};
    const auto& bars = unicode ? kBars : kPlain;
    const auto count = std::min(recent.size(), static_cast<std::size_t>(std::max(columns, 0)));
    const auto first = recent.end() - static_cast<std::ptrdiff_t>(count);
    double low = 1e9;
    double high = -1e9;
    for (auto it = first; it != recent.end(); ++it)
        if (it->reading.locked) {
            low = std::min(low, it->reading.rpm);
            high = std::max(high, it->reading.rpm);
        }
    if (high - low < kSmallestSpan_rpm) {
        const double middle = 0.5 * (low + high);
        low = middle - 0.5 * kSmallestSpan_rpm;
        high = middle + 0.5 * kSmallestSpan_rpm;
    }
    std::string line;
    for (auto it = first; it != recent.end(); ++it) {
        if (!it->reading.locked) {
            line += ' ';
            continue;
        }
        const double place = (it->reading.rpm - low) / (high - low) * static_cast<double>(bars.size());
        line += bars[static_cast<std::size_t>(std::clamp(place, 0.0, static_cast<double>(bars.size()) - 1.0))];
    }
    return line;
}

std::vector<std::string> lay_out(const ListenView& view, TerminalSize size, bool unicode) {
    std::vector<std::string> lines;
    lines.push_back(speed_text(view));
    if (view.measuring) {
        const auto hunting = hunting_rpm(view.recent);
        lines.push_back(hunting ? fmt::format("hunting {:.1f} rpm", *hunting) : "hunting --");
        lines.push_back(speed_line(view.recent, size.columns, unicode));
    }
    const int meter_width = std::clamp(size.columns - 30, 5, 40);
    for (std::size_t c = 0; c < view.peaks_dbfs.size(); ++c)
        lines.push_back(fmt::format("{} {:4.0f} dBFS {}",
                                    static_cast<int>(c) + 1 == view.microphone_channel ? "microphone" : "channel   ",
                                    std::max(view.peaks_dbfs[c], -99.0), meter(view.peaks_dbfs[c], meter_width)));
    const bool lost = view.losses.device_gaps > 0 || view.losses.dropped_frames > 0;
    lines.push_back(fmt::format("{}{:.0f} s   gaps {}   dropped {} frames   clipped {}", lost ? "LOST SOUND   " : "",
                                view.heard_s, view.losses.device_gaps, view.losses.dropped_frames,
                                view.clipped_samples));
    if (!view.message.empty()) lines.push_back(view.message);
    if (!view.recording.empty()) {
        lines.push_back(fmt::format("recording {}", view.recording));
        lines.push_back(view.spot.empty()
                            ? "digits choose a spot, Enter or space marks a burst there, q ends"
                            : fmt::format("spot {}: Enter or space marks a burst now   q ends", view.spot));
        const auto room = static_cast<std::size_t>(std::max(size.rows - static_cast<int>(lines.size()) - 1, 0));
        for (std::size_t i = view.marks.size() - std::min(view.marks.size(), room); i < view.marks.size(); ++i)
            lines.push_back("  marked " + view.marks[i]);
    } else {
        lines.emplace_back("q ends");
    }
    lines.push_back(view.device);
    if (lines.size() > static_cast<std::size_t>(std::max(size.rows, 1)))
        lines.resize(static_cast<std::size_t>(std::max(size.rows, 1)));
    return lines;
}

}  // namespace idlehark
