#pragma once

#include "src/files/json.hpp"
#include "src/result.hpp"
#include "src/visit/spray_visit.hpp"

#include <string>

namespace idlehark {

/// A guided spray test as JSON, and back without loss; `name` names it in messages.
[[nodiscard]] Json visit_record_json(const VisitRecord& record);
Result<VisitRecord> visit_record_from_json(const Json& json, const std::string& name);

}  // namespace idlehark
