#pragma once

#include <vector>

namespace idlehark::evidence {

/// One way an idle may answer a burst, from the moment the answer begins, scaled so that its largest value is 1.
struct ResponseShape {
    double hold_s = 1.0;        ///< how long the vapour keeps arriving
    double rise_s = 0.6;        ///< time constant while it does
    double decay_s = 4.0;       ///< time constant of the return
    double regulation_s = 0.0;  ///< time constant of an idle valve that takes the change back; 0: none
};

inline constexpr double kTracker_s = 0.4;  ///< a tracker's window, which smooths what it reads

/// The shape's mean over each cell of `step_s`, the first cell centred on the beginning, smoothed by `smoothing_s` as a
/// tracker smooths (its window's length). Ends where less than 2 % is left, or after 30 s.
[[nodiscard]] std::vector<double> sampled(const ResponseShape& shape, double step_s, double smoothing_s);

/// Share of its change that a load step has reached `t_s` after it came; 0 before.
[[nodiscard]] double step_risen(double t_s, double rise_s);
/// The same in the middle of each cell, for the 12 s by which a step is judged: long enough to tell it from an answer,
/// shorter than most go on to the next spot.
[[nodiscard]] std::vector<double> lasting_step(double rise_s, double step_s);

/// The shapes that a session's answers are compared with: holds 0.7-3 s, returns 1.5-9 s, and for idle valves the same
/// taken back in 2-4 s. Transport, rise and return times of this order are common practice, no source.
struct WeightedShape {
    ResponseShape shape;
    double weight = 1.0;  ///< prior, sums to 1
};
[[nodiscard]] std::vector<WeightedShape> response_bank(bool regulated);

}  // namespace idlehark::evidence
