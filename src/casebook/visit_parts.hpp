#pragma once

#include "src/analysis/listen.hpp"
#include "src/casebook/casebook.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// A recording of a visit's guided test; its second 0 is `offset_s` of the test's time.
struct VisitPart {
    CaseRecording recording;
    double offset_s = 0.0;
};

/// The recordings that the visit's guided test ran in, in its order: one, or more where it was gone on with. Empty:
/// there is no such test, or the case has no sound of it.
Result<std::vector<VisitPart>> guided_parts(const Casebook& book, RowId visit);

/// What to say of the recordings that the test ran in and that are none of these.
std::vector<std::string> missing_parts(const VisitRecord& guided, const std::vector<VisitPart>& parts);

/// To listen through all of them (one at least), in the first one's time.
Result<ListenRequest> listen_request(const Casebook& book, const std::vector<VisitPart>& parts, const Engine& engine);

/// The bursts in them; times count from the first part's beginning. What the guided test itself kept of them, a pass
/// as "7+8+9", if `guided` is given; else the marks that were not withdrawn.
Result<std::vector<Mark>> marks_of_parts(const Casebook& book, const std::vector<VisitPart>& parts,
                                         const VisitRecord* guided = nullptr);

}  // namespace idlehark
