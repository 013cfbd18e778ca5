#pragma once

#include "dsp/track/cycle_template.hpp"

namespace idlehark::test {

/// An engine that keeps its speed for a segment, heard throughout.
inline CyclePath steady_cycle(double cycle_hz, double segment_s) {
    constexpr double kStep_s = 0.02;
    CyclePath path;
    path.start_s = {0.0};
    while (path.start_s.back() < segment_s) {
        path.start_s.push_back(path.start_s.back() + kStep_s);
        path.speed_hz.push_back(cycle_hz);
        path.heard.push_back(1);
    }
    path.integrate();
    return path;
}

}  // namespace idlehark::test
