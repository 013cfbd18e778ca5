#pragma once

#include "src/cli/command.hpp"
#include "src/visit/visit_plan.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// What `plan` and `listen --guide` share: the map, and what the planner goes by.
struct PlanOptions {
    std::string map_path;
    std::vector<std::string> priors;    ///< "hose=0.2"
    std::vector<std::string> suspects;  ///< spots that stood out in a hiss survey
    double matters_rpm = 15.0;
    bool singly = false;
};
void add_plan_options(CLI::App& command, PlanOptions& options);

/// Reads the map; warnings are printed. Errors name the option.
Result<VisitPlanSettings> resolve(const PlanOptions& options, const Engine& engine);
/// With a map that is read already.
Result<VisitPlanSettings> resolve(const PlanOptions& options, const BayMap& map, const Engine& engine);

}  // namespace idlehark
