#pragma once

#include "src/analysis/visit.hpp"
#include "src/files/json.hpp"
#include "src/result.hpp"

#include <span>

namespace idlehark {

/// What was heard of a visit, without its readings: all that a comparison with another visit needs of the sound, so
/// that comparing two visits of a case listens to neither again. What was asked (request) is not in it.
[[nodiscard]] Json heard_json(const HeardVisit& visit);

/// And back; `request` and `readings` become part of it. Errors name `name` and what is missing or no number.
Result<HeardVisit> heard_from_json(const Json& json, VisitRequest request, std::vector<RpmReading> readings,
                                   const std::string& name);

}  // namespace idlehark
