#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// Where on the map, millimetres.
struct Place {
    double x_mm = 0.0;
    double y_mm = 0.0;
};

struct SpraySpot {
    std::string id;
    std::optional<Place> place;  ///< without it overspray cannot be told from a leak of its own
};

/// One burst of spray: the mark says when and where; the can's own hiss, where it was found, says when more exactly.
struct SprayBurst {
    double time_s = 0.0;
    std::size_t spot = 0;  ///< index into the spots
    std::optional<double> found_onset_s;
    std::optional<double> found_duration_s;
};

struct SprayTestConfig {
    double matters_rpm = 15.0;       ///< the change that `none_seen` excludes, 1..200
    double familywise_error = 0.05;  ///< chance of any false `leak` in a session, 0.001..0.5
    IdleControl idle_control = IdleControl::fixed;
    std::uint64_t seed = 1;  ///< of the sham placements: same input and seed, same result
};

enum class SprayVerdict { leak, overspray, none_seen, undecided };

/// Whether the idle provably answered to spray there, whatever it was that leaks.
[[nodiscard]] constexpr bool answers(SprayVerdict v) noexcept {
    return v == SprayVerdict::leak || v == SprayVerdict::overspray;
}

struct SpotResult {
    int bursts = 0;  ///< that fall where speed was heard
    double change_rpm =
        std::numeric_limits<double>::quiet_NaN();               ///< largest change a full burst causes; NaN: no burst
    double low_rpm = std::numeric_limits<double>::quiet_NaN();  ///< 95 % interval
    double high_rpm = std::numeric_limits<double>::quiet_NaN();
    double p_value = 1.0;  ///< corrected for all spots
    SprayVerdict verdict = SprayVerdict::undecided;
    double delay_s =
        std::numeric_limits<double>::quiet_NaN();  ///< start of spray to start of answer; NaN unless proven
    std::vector<double> log_curve;  ///< log odds of each change of evidence::ChangeGrid against none; empty: no burst
};

struct SprayTestResult {
    double idle_rpm = std::numeric_limits<double>::quiet_NaN();  ///< median of the trace; NaN: nothing locked
    double hunting_rpm =
        std::numeric_limits<double>::quiet_NaN();  ///< amplitude of the swing at 0.08-0.6 Hz (sqrt 2 rms)
    /// The leak that a spot with the session's usual number of bursts proves with probability 0.8, foretold from the
    /// quiet stretch before the first burst alone; NaN when that stretch is too short (then a note says so).
    double smallest_provable_rpm = std::numeric_limits<double>::quiet_NaN();
    double achieved_provable_rpm = std::numeric_limits<double>::quiet_NaN();  ///< the same sum with the noise, answer
                                                                              ///< and thresholds of the whole session
    std::vector<SpotResult> spots;
    std::vector<std::string> notes;
};

/// From a speed trace and the marks to a verdict per spot.
/// Input    readings in time order, any spacing, gaps and unlocked stretches allowed; bursts in any order, 1 or more a
///          spot, several spots; spots without bursts are `undecided`.
/// Way      one fit over the whole recording. The idle's unrest is learned as an autoregression (coloured_noise.hpp)
///          after steps, failed firings and glitches are found without looking at the marks (disturbances.hpp). Each
///          burst is compared with a bank of answers (response_bank.hpp) at a delay the session shares; each spot's
///          likelihood allows for bursts that miss, uneven hands, marks off in time (burst_odds.hpp) and bursts that
///          something else disturbs (disturbed_share.hpp). Its odds are ranked against sham placements in the same
///          trace; the tail beyond the shams is fitted. Leaks are taken out of the trace one by one, from the strongest
///          down (Holm), so that they neither hide nor fake others; a spot that is sprayed beside a proven one round
///          after round, and changes a tenth as much or less, is not proven: so much may be left over.
/// Accuracy meant: any false `leak` in `familywise_error` of sessions, intervals that cover 95 %, `none_seen` wrong in
///          at most 2 %. Measured by tests/bench/spray_bench.cpp on 150 sessions of each sort: 4 and 4 %, 97 and 96 %,
///          one of 2494. A leak beside a larger one and with up to about half of its change cannot be told from
///          drifting spray: `overspray`; beside a larger change that is not proven itself: `undecided`, with a note.
/// Errors   std::invalid_argument for a config outside its range or a burst whose spot does not exist.
[[nodiscard]] SprayTestResult evaluate_spray(std::span<const RpmReading> readings, std::span<const SprayBurst> bursts,
                                             std::span<const SpraySpot> spots, const SprayTestConfig& config = {});

/// Before any spray: the leak that `bursts_per_spot` bursts on each of `spots` spots will prove with probability 0.8,
/// given this quiet stretch. NaN when fewer than 15 s of it are heard.
[[nodiscard]] double smallest_provable_rpm(std::span<const RpmReading> quiet, int spots, int bursts_per_spot,
                                           const SprayTestConfig& config = {});

}  // namespace idlehark
