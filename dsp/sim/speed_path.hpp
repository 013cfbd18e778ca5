#pragma once

#include <cstdint>
#include <limits>
#include <memory>
#include <vector>

namespace idlehark::sim {

/// How the idle answers one burst of spray: nothing until the vapour has travelled (`delay_s`), a first-order rise
/// while the spray lasts, an exponential return once it stops. Delay 0.5-2 s and decay 2-10 s are ordinary (common
/// practice, no source).
struct BurstShape {
    double delay_s = 0.8;
    double rise_s = 0.6;   ///< time constant
    double decay_s = 4.0;  ///< time constant
};

/// Answer at a time after the start of the spray, scaled so that its largest value, at delay + duration, is 1.
[[nodiscard]] double burst_response(double since_start_s, double duration_s, const BurstShape& shape);

struct SpeedBurst {
    double time_s = 0.0;      ///< start of the spray
    double duration_s = 1.0;  ///< > 0
    double change_rpm = 0.0;  ///< largest change of speed, either sign, before any idle regulation
    BurstShape shape;
};

/// A load that comes (fan, lamps, idle valve) and may go again: first order towards `change_rpm`, then back.
struct LoadStep {
    double time_s = 0.0;
    double change_rpm = 0.0;
    double time_constant_s = 0.5;
    double end_s = std::numeric_limits<double>::infinity();
};

/// Every ingredient adds to the mean; each is off as it stands here.
struct SpeedPathSpec {
    double duration_s = 60.0;
    double mean_rpm = 800.0;
    int strokes = 4;  ///< what one cycle is: 4: two crank turns, 2: one
    std::uint64_t seed = 1;

    double hunting_rpm = 0.0;       ///< mean amplitude; both amplitude and period wander slowly
    double hunting_period_s = 4.0;  ///< 2-10 s are usual
    double surge_rpm = 0.0;         ///< amplitude of a pure sinusoid
    double surge_hz = 0.5;
    double wander_rpm = 0.0;  ///< standard deviation of first-order noise, the cycle-to-cycle scatter of idle
    double wander_time_s = 0.5;
    double random_walk_rpm = 0.0;  ///< per square root of a second
    double drift_rpm_per_s = 0.0;
    double warm_up_rpm = 0.0;  ///< excess at the start that dies away
    double warm_up_time_s = 60.0;
    double natural_steps_per_min =
        0.0;  ///< unprovoked changes: random times, sizes and signs, spread over natural_step_s
    double natural_step_low_rpm = 5.0;
    double natural_step_high_rpm = 20.0;
    double natural_step_s = 4.0;
    std::vector<LoadStep> loads;
    std::vector<SpeedBurst> bursts;
    double regulation_s = 0.0;  ///< time constant of a valve that takes burst and load answers back; 0: none
    double stall_s = std::numeric_limits<double>::infinity();  ///< speed falls to 0 from here
    double stall_fall_s = 0.8;                                 ///< in this time
};

/// Crank speed and phase over time: the truth of a simulation.
/// Speed is linear between samples 200 Hz apart, phase is its exact integral, so the two never disagree. After the
/// duration the last speed holds. Copies are cheap (shared data).
/// Errors   constructors: std::invalid_argument naming the value.
class SpeedPath {
   public:
    static constexpr double kRate_hz = 200.0;

    explicit SpeedPath(const SpeedPathSpec& spec);
    /// From speeds given at kRate_hz (0 or more, at least two of them).
    explicit SpeedPath(std::vector<double> speeds_rpm, int strokes = 4);

    /// One burst more, in this path and all its copies; what was before its start stays as it was. `regulation_s` as in
    /// the specification. For simulations in which somebody acts while they run.
    void add_burst(const SpeedBurst& burst, double regulation_s = 0.0);

    [[nodiscard]] double rpm_at(double time_s) const noexcept;
    [[nodiscard]] double cycles_at(double time_s) const noexcept;  ///< working cycles since time 0; never falls
    [[nodiscard]] double turns_at(double time_s) const noexcept;   ///< crank turns since time 0
    /// First time at which `cycles` have been done; infinity if the engine stops before. cycles >= 0.
    [[nodiscard]] double time_at_cycles(double cycles) const noexcept;
    /// Mean speed between two times: what a reading over that stretch should say.
    [[nodiscard]] double mean_rpm(double from_s, double to_s) const noexcept;
    [[nodiscard]] double duration_s() const noexcept;
    [[nodiscard]] int strokes() const noexcept;
    [[nodiscard]] const std::vector<double>& speeds_rpm() const noexcept;  ///< at kRate_hz

   private:
    struct Data;
    std::shared_ptr<Data> data_;
};

}  // namespace idlehark::sim
