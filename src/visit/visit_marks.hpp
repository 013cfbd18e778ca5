#pragma once

#include "dsp/bursts/hiss_finder.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/result.hpp"
#include "src/visit/visit_plan.hpp"

#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// How a guided visit's bursts stand in a marks file: a pass as "7+8+9", a sham as this word.
inline constexpr const char* kShamMark = "sham";
/// The spots that a mark names: one, or those of a pass; none for a sham.
[[nodiscard]] std::vector<std::string> marked_spots(const std::string& mark);

/// The bursts that count, in time order; times of the visit.
[[nodiscard]] MarksFile marks_of_visit(const VisitRecord& record);

/// A visit from a recording's marks and the hisses heard in it. Errors: a spot that is not on the map, with its line.
[[nodiscard]] Result<VisitRecord> visit_from_marks(std::span<const Mark> marks, std::span<const HissBurst> heard,
                                                   const BayMap& map, const std::string& marks_file);

/// Works the visit's plan out again, burst by burst and skip by skip, as it was when it was live; the record's own
/// decisions are replaced. The step after the last burst and the skips that the record's bursts reach.
[[nodiscard]] plan::PlanStep replay_plan(VisitRecord& record, const VisitConfig& limits,
                                         std::span<const RpmReading> readings, const VisitPlanSettings& settings);

}  // namespace idlehark
