#pragma once

#include "gui/look/canvas.hpp"

#include <string>

namespace idlehark::gui {

/// How loud the microphone is. The bar is read against a bracket that says where it should end.
struct LevelMeter {
    double peak_dbfs = -200.0;
    double held_dbfs = -200.0;  ///< the highest of the last seconds
    bool clipped = false;       ///< lately
    std::string word{};         ///< "good", "too quiet", "too loud": how it stands
};

inline constexpr double kQuietest_dbfs = -60.0;  ///< left end
inline constexpr double kGoodFrom_dbfs = -40.0;  ///< below: too quiet to be sure of (common practice, no source)
inline constexpr double kGoodTo_dbfs = -3.0;     ///< above: a louder moment clips

void draw_level_meter(Canvas& canvas, const Box& on, const LevelMeter& meter);

}  // namespace idlehark::gui
