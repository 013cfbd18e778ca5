#pragma once

#include "src/analysis/visit.hpp"
#include "src/files/map_file.hpp"
#include "src/report/compare_view.hpp"

#include <optional>
#include <variant>

namespace idlehark {

struct CompareRequest {
    VisitRequest before, after;
    std::optional<BayMap> map;
    bool anyway = false;  ///< compare a cold idle with a warm one all the same
    /// What was heard of them before now, for instance when a case took them in: not listened to again.
    std::optional<HeardVisit> heard_before, heard_after;
};

/// Listens to both visits, as far as they have not been heard, and compares them; each is half of the progress then.
/// Refused  engines that differ in cylinders, strokes or firing (wrong use); less than 10 s of idle on either side, a
///          cold idle against a warm one unless `anyway` (the sound is why).
/// Cautions another device, sample rate or coding (the hiss is left out then), another level, another idle range,
///          injection or idle control, spots sprayed on one side only.
std::variant<CompareView, VisitFailure> compare_visits(const CompareRequest& request, const ListenSinks& sinks);

/// The same for visits that have been heard already.
std::variant<CompareView, VisitFailure> compare_heard(const HeardVisit& before, const HeardVisit& after,
                                                      const std::optional<BayMap>& map, bool anyway);

}  // namespace idlehark
