#pragma once

#include "dsp/compare/change.hpp"
#include "dsp/idle_tracker.hpp"

#include <limits>
#include <span>

namespace idlehark {

/// What one recording tells of the idle itself, each figure with the spread that this much of coloured noise leaves.
struct IdleFigures {
    FigureValue speed_rpm;
    FigureValue hunting_rpm;  ///< amplitude of the swing at 0.08..0.6 Hz (sqrt 2 rms); spread of its logarithm
    FigureValue wander_rpm;   ///< rms of what is faster, from cycle to cycle, 0.6..2 Hz; spread of its logarithm
    /// Straight line through the whole recording; NaN where it is too short for one.
    double drift_rpm_per_min = std::numeric_limits<double>::quiet_NaN();
    double drift_sd = std::numeric_limits<double>::quiet_NaN();
    double heard_s = 0.0;  ///< of idle speed, the stretches after bursts left out
};

/// How far the idle of one and the same engine differs between visits: warm, same season, same load (common practice,
/// no source).
inline constexpr double kIdleVisit_rpm = 12.0;
inline constexpr double kHuntingVisit_ln = 0.3;
inline constexpr double kWanderVisit_ln = 0.25;  ///< simulated engines heard from another place, visits_bench

/// Input    readings in time order; when spray was given, whose answers are left out where enough remains without.
/// Way      load steps and glitches taken out, the unrest learned as an autoregression (dsp/evidence), the mean speed
///          by generalised least squares under it; swings are areas under its spectrum, their spread that of a
///          Gaussian process watched for so long.
/// Output   all NaN when fewer than 10 s are heard.
/// Accuracy tests/bench/compare_bench.cpp.
[[nodiscard]] IdleFigures measure_idle(std::span<const RpmReading> readings, std::span<const double> bursts_s = {});

}  // namespace idlehark
