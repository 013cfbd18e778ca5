#pragma once

#include "src/cli/live_run.hpp"
#include "src/practice/engines.hpp"
#include "src/visit/visit_plan.hpp"

#include <cstdint>
#include <string>

namespace idlehark {

class GuideCase;

/// `listen --guide`: the guided spray test in the terminal, from a device or a recording played in its place. `kept`:
/// the case that keeps it, if one does.
int run_guide(const LiveOptions& options, const VisitPlanSettings& settings, GuideCase* kept);

/// `practice --engine-number`: the same against a simulated engine.
struct PracticeGuide {
    int number = 1;
    std::uint64_t seed = 1;
    bool automatic = false;  ///< simulated hands; as fast as it goes, and no terminal needed
    double pace = 1.0;
    std::string folder;  ///< recording, engine, map, marks and, at the end, the truth; empty: nothing is written
};
int run_practice(const PracticeGuide& practice);

}  // namespace idlehark
