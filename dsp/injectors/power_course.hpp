#pragma once

#include <vector>

namespace idlehark {

/// Power over time, at an even step.
struct PowerCourse {
    std::vector<double> power;
    double from_s = 0.0;
    double step_s = 0.0;
};

}  // namespace idlehark
