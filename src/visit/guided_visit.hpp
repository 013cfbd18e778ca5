#pragma once

#include "dsp/bursts/hiss_finder.hpp"
#include "src/live/live_analysis.hpp"
#include "src/visit/spray_visit.hpp"
#include "src/visit/visit_plan.hpp"

#include <future>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace idlehark {

/// A SprayVisit with its planner and its readings: what listens feeds it, and it keeps the plan up to date.
/// Feed it with what LiveAnalysis hands out (`reading`, `hiss`, `gap`) and the time, send what the user does to
/// `visit()`, and call `pump()` after either. The last burst's answer is heard out before the next step is worked out,
/// so that the step depends on the sound and the marks alone.
/// Threads  one owner; with `in_background` a plan is worked out on a thread of its own, and the destructor waits for
///          it (a second at most).
class GuidedVisit {
   public:
    GuidedVisit(SprayVisit visit, VisitPlanSettings settings, bool in_background);

    /// Readings of earlier recordings of a resumed visit, in its time; before any other.
    void earlier(std::vector<RpmReading> readings);
    void reading(const LiveReading& reading);
    void hiss(const HissBurst& burst);
    void gap(double time_s);
    void time(double now_s);
    /// From the next plan on these odds hold (VisitPlanSettings::spot_odds).
    void weigh(std::map<std::string, double> spot_odds) { settings_.spot_odds = std::move(spot_odds); }
    /// From the next plan on this is the change to be excluded.
    void matters(double rpm) { settings_.matters_rpm = rpm; }
    /// Whether neighbours may be misted together to rule them out. Before the first burst: a visit has one way.
    void in_passes(bool on) { settings_.passes = on; }
    /// Starts and takes plans as they are wanted; where none can be worked out, the visit is stopped with the reason.
    /// True if something changed.
    bool pump();

    [[nodiscard]] SprayVisit& visit() noexcept { return visit_; }
    [[nodiscard]] const SprayVisit& visit() const noexcept { return visit_; }
    /// The newest plan with every spot's standing; nothing before the first.
    [[nodiscard]] const std::optional<plan::PlanStep>& step() const noexcept { return step_; }
    [[nodiscard]] const std::vector<RpmReading>& readings() const noexcept { return readings_; }
    [[nodiscard]] const VisitPlanSettings& settings() const noexcept { return settings_; }

   private:
    [[nodiscard]] bool heard_out() const;
    bool plan();
    void take(plan::PlanStep step);

    SprayVisit visit_;
    VisitPlanSettings settings_;
    bool in_background_;
    std::vector<RpmReading> readings_;
    double offset_s_ = 0.0;  ///< of the recording that is running
    std::optional<plan::PlanStep> step_;
    std::future<plan::PlanStep> working_;
    unsigned worked_on_ = 0;  ///< the visit's revision that the plan rests on
};

}  // namespace idlehark
