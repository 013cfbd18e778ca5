#include "gui/shell/panes.hpp"

#include "gui/plots/speed_trace.hpp"

#include <algorithm>
#include <vector>

namespace idlehark::gui {

void draw_trace(Canvas& canvas, const ViewState& view, const Rect& place, const Words& say) {
    constexpr double kShown_s = 60.0;
    SpeedTrace trace;
    trace.to_s = std::max(view.sound.now_s, kShown_s);
    trace.from_s = view.sound.mode == Mode::kept ? 0.0 : trace.to_s - kShown_s;  // what is over is shown whole
    std::vector<SpeedTrace::Reading> readings;
    if (view.trace)
        for (const auto& r : *view.trace)
            if (r.time_s >= trace.from_s) readings.push_back({r.time_s, r.rpm, r.low, r.high});
    std::vector<SpeedTrace::Burst> bursts;
    for (const auto& b : view.bursts)
        if (b.time_s >= trace.from_s) bursts.push_back({b.time_s, b.duration_s, b.spot});
    trace.readings = readings;
    trace.bursts = bursts;
    trace.usual_rpm = view.settle.idle_rpm;
    trace.rpm_word = say(Word::rpm);
    trace.lost_word = say(Word::not_locked);
    trace.empty_word = say(Word::trace_empty);
    draw_speed_trace(canvas, box_of(place), trace);
}

}  // namespace idlehark::gui
