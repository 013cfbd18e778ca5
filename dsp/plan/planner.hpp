#pragma once

#include "dsp/evidence/spray_test.hpp"
#include "dsp/plan/leak_belief.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace idlehark::plan {

/// A spot as the planner knows it before any spray.
struct PlannedSpot {
    std::string id;
    std::optional<Place> place;  ///< without it the spot is never misted together with others
    double prior = 0.08;         ///< chance that it leaks: by kind of joint, raised by a hiss survey, set by the user
    bool left_out = false;       ///< cannot be reached, or not wanted: never asked for
    bool decided = false;        ///< by the step before: not sprayed again while that stands
};

/// One spray so far, asked or not.
struct PlannedBurst {
    double time_s = 0.0;
    std::vector<std::size_t> spots;  ///< one, or all that a pass went over, in that order
    bool sham = false;               ///< nothing was sprayed
    std::optional<double> found_onset_s;
    std::optional<double> found_duration_s;
};

struct PlanConfig {
    double matters_rpm = 15.0;
    double familywise_error = 0.05;  ///< of any false leak in a visit, however often it looks
    double none_risk = 0.005;  ///< chance of a leak that matters below which a spot is none, on a map of up to 20;
                               ///< in proportion on larger ones: no bay leaks more because more spots are drawn
    IdleControl idle_control = IdleControl::fixed;
    bool passes = true;            ///< neighbours may be misted in one pass to rule them out together
    std::size_t pairs_from = 24;   ///< spots on a map from which the first round, too, goes in passes, of two spots
    double suspected = 0.2;        ///< chance of any leak, however small, from which a spot is followed up
    double doubted = 0.02;         ///< the same as long as there are bursts to spare: small leaks are found with these
    double spare_share = 0.5;      ///< bursts to spare in a visit, a spot, beyond one everywhere,
    int most_spare = 9;            ///< and no more than so many
    double pass_reach_mm = 120.0;  ///< farthest two spots of a pass
    std::size_t most_in_pass = 3;
    int most_per_spot = 6;
    int most_per_visit = 60;
    int bursts_per_sham = 8;  ///< one sham after so many bursts; 0: none
    double drying_s = 30.0;
    bool over = false;       ///< nothing more is sprayed: all that was is judged
    std::uint64_t seed = 1;  ///< of orders and samples: same input and seed, same step
};

[[nodiscard]] constexpr double none_risk(const PlanConfig& config, std::size_t spots) noexcept {
    return config.none_risk * (spots > 20 ? static_cast<double>(spots) / 20.0 : 1.0);
}

enum class SpotDecision {
    open,       ///< more bursts may decide it
    leak,       ///< proven, at least two bursts of its own
    overspray,  ///< answers, but a leaking neighbour explains it
    none,       ///< a change that matters is excluded
    undecided,  ///< neither, and it gets no more bursts
};

/// Not sprayed again in this visit. What is undecided may be taken up again when bursts elsewhere tell more.
[[nodiscard]] constexpr bool settled(SpotDecision d) noexcept {
    return d == SpotDecision::leak || d == SpotDecision::overspray || d == SpotDecision::none;
}

struct SpotPlan {
    SpotDecision decision = SpotDecision::open;
    std::string why;  ///< one sentence
    SpotBelief belief;
    int bursts = 0;                                                ///< on this spot alone
    int passes = 0;                                                ///< over it and neighbours
    double change_rpm = std::numeric_limits<double>::quiet_NaN();  ///< with its 95 % interval, from its own bursts
    double low_rpm = std::numeric_limits<double>::quiet_NaN();
    double high_rpm = std::numeric_limits<double>::quiet_NaN();
    double p_value = 1.0;  ///< corrected for all spots and for looking again and again
};

struct PlanStep {
    enum class Outcome { step, decided, out_of_limits };
    Outcome outcome = Outcome::step;
    std::vector<std::size_t> spots;  ///< what to spray next; empty at the end
    bool sham = false;
    std::string why;           ///< why this, or why it ends
    std::string would_change;  ///< what would change the decision
    int at_most_more = 0;      ///< bursts that may follow at most, this one included
    double smallest_provable_rpm = std::numeric_limits<double>::quiet_NaN();  ///< by three bursts, foretold from the
                                                                              ///< quiet start
    bool shams_answer = false;  ///< the idle answers prompts without spray: nothing here can be trusted
    std::vector<SpotPlan> all;  ///< every spot
    std::vector<std::string> notes;
};

/// Chooses what to spray next so that a visit decides every spot with little spray: each once, then where it tells
/// most.
/// Input    readings in time order (a visit's whole speed trace), all sprays so far in any order, the spots.
/// First    each spot once, in an order that no result can change.
/// Then     all bursts are weighed together (`quick_look`; a pass is a target of its own, looked at unsharply in time),
///          every spot's chance to leak follows from all targets at once (`believe`), and the next target is the one
///          whose answer is hardest to foretell, a spot alone as soon as it is suspected. As long as there are bursts
///          to spare, little suspicion is enough: small leaks are found with these.
/// Leaks    are proven by `evaluate_spray` on bursts of the spot's own, two at least: odds against sham placements in
///          the same trace. A spot is looked at after each of its bursts but the first, if it is likely enough, and all
///          are at the end; each look gets an equal part of the error: chance(any false leak) <= sum over spots and
///          looks of the parts = `familywise_error`, whatever rule chooses the bursts, as long as it cannot foresee the
///          noise to come. Not yet sprayed spots count as well. A proof that later sound speaks against is sprayed on.
/// None     by the posterior: what an answer that fails to come says, misses included.
/// Accuracy tests/bench/plan_bench.cpp: bursts, power, false alarms, against three bursts everywhere.
/// Errors   std::invalid_argument: no spots, a burst on a spot that is none, and as evaluate_spray.
[[nodiscard]] PlanStep plan_next(std::span<const RpmReading> readings, std::span<const PlannedBurst> bursts,
                                 std::span<const PlannedSpot> spots, const PlanConfig& config = {});

}  // namespace idlehark::plan
