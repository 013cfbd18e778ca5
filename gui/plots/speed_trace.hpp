#pragma once

#include "gui/look/canvas.hpp"
#include "gui/plots/axis.hpp"

#include <cmath>
#include <span>
#include <string>
#include <vector>

namespace idlehark::gui {

/// The speed over time, with what was done to the engine.
struct SpeedTrace {
    struct Reading {
        double time_s = 0.0;
        double rpm = std::nan("");  ///< NaN: no lock
        double low = std::nan("");
        double high = std::nan("");
    };
    struct Burst {
        double time_s = 0.0;
        double duration_s = std::nan("");
        std::string spot{};
    };
    struct Gap {
        double from_s = 0.0;
        double to_s = 0.0;
    };
    std::span<const Reading> readings{};  ///< in time order
    std::span<const Burst> bursts{};
    std::span<const Gap> gaps{};  ///< sound that was lost
    double from_s = 0.0;
    double to_s = 60.0;
    double usual_rpm = std::nan("");  ///< the quiet idle: drawn as a line
    std::string rpm_word = "rpm";
    std::string lost_word{};   ///< written where nothing was heard
    std::string empty_word{};  ///< in place of a trace without any reading
};

/// The axis of speed: holds the middle 98 % of what is shown with its intervals, and never less than 30 rpm, so that a
/// steady idle looks steady and one wild reading does not flatten the rest.
[[nodiscard]] Axis speed_axis(const SpeedTrace& trace, double bottom_px, double top_px);

/// At most about two readings a pixel column: each column's first, lowest, highest and last, in time order. NaN breaks
/// are kept.
[[nodiscard]] std::vector<SpeedTrace::Reading> thinned(std::span<const SpeedTrace::Reading> readings, double from_s,
                                                       double to_s, double width_px);

void draw_speed_trace(Canvas& canvas, const Box& on, const SpeedTrace& trace);

}  // namespace idlehark::gui
