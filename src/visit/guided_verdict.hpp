#pragma once

#include "dsp/plan/planner.hpp"
#include "src/report/verdict_view.hpp"
#include "src/visit/visit_plan.hpp"

#include <span>

namespace idlehark {

/// A spot's standing in a guided test in the words of every spray test; what is still open is undecided.
[[nodiscard]] SprayVerdict verdict_of(plan::SpotDecision decision) noexcept;

/// The verdict of a guided test: the last plan's standing of every spot, which allows for every look taken on the way.
/// Idle speed and hunting come from the readings before the first burst. `recording`, `engine` and `speed` stay empty.
[[nodiscard]] VerdictView guided_verdict(const plan::PlanStep& step, const VisitRecord& record,
                                         std::span<const RpmReading> readings, const VisitPlanSettings& settings);

}  // namespace idlehark
