#include "src/visit/guided_visit.hpp"

#include <algorithm>
#include <chrono>
#include <exception>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

GuidedVisit::GuidedVisit(SprayVisit visit, VisitPlanSettings settings, bool in_background)
    : visit_(std::move(visit)), settings_(std::move(settings)), in_background_(in_background) {
    if (!visit_.record().recordings.empty()) offset_s_ = visit_.record().recordings.back().offset_s;
}

void GuidedVisit::earlier(std::vector<RpmReading> readings) { readings_ = std::move(readings); }

void GuidedVisit::reading(const LiveReading& reading) {
    auto r = reading.reading;
    r.time_s += offset_s_;
    visit_.reading(r.time_s, r.rpm, r.locked);
    readings_.push_back(r);
}

void GuidedVisit::hiss(const HissBurst& burst) { visit_.hiss(burst.time_s + offset_s_, burst.duration_s); }
void GuidedVisit::gap(double time_s) { visit_.gap(time_s + offset_s_); }
void GuidedVisit::time(double now_s) { visit_.time(now_s + offset_s_); }

bool GuidedVisit::heard_out() const {
    double until_s = 0.0;
    for (const auto& b : visit_.record().bursts)
        if (!b.undone) until_s = std::max(until_s, b.found_onset_s.value_or(b.time_s) + kLookedAt_s);
    return !readings_.empty() && readings_.back().time_s >= until_s;
}

void GuidedVisit::take(plan::PlanStep step) {
    visit_.take(visit_plan(step, settings_.map));
    step_ = std::move(step);
}

bool GuidedVisit::pump() {
    try {
        return plan();
    } catch (const std::exception& wrong) {  // a record that the planner refuses
        visit_.stop(fmt::format("The next step cannot be worked out: {}.", wrong.what()));
        return true;
    }
}

bool GuidedVisit::plan() {
    if (working_.valid()) {
        if (working_.wait_for(std::chrono::seconds{0}) != std::future_status::ready) return false;
        auto step = working_.get();
        // What happened meanwhile (a burst, an undo) makes it stale.
        if (visit_.wants_plan() && visit_.revision() == worked_on_) take(std::move(step));
        return true;
    }
    if (!visit_.wants_plan() || !heard_out()) return false;
    if (!in_background_) {
        take(plan_visit(visit_.record(), visit_.config(), readings_, settings_));
        return true;
    }
    worked_on_ = visit_.revision();
    working_ = std::async(std::launch::async,
                          [record = visit_.record(), limits = visit_.config(), readings = readings_,
                           settings = settings_] { return plan_visit(record, limits, readings, settings); });
    return true;
}

}  // namespace idlehark
