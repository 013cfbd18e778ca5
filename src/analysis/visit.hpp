#pragma once

#include "dsp/compare/idle_figures.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "dsp/hiss/hiss_survey.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/analysis/listen.hpp"
#include "src/files/marks_file.hpp"

#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace idlehark {

/// One visit to a car as recorded: the idle, perhaps a spray test in the same recording and in those that went on with
/// it, perhaps an injector set.
struct VisitRequest {
    ListenRequest listen;
    std::vector<Mark> marks;  ///< of the spray test, in the first part's time; empty: none
    std::vector<std::pair<int, std::string>> injectors;
    std::string name;    ///< for the table; empty: the recording's file name
    std::string device;  ///< that recorded it; empty: what stands in the settings beside the recording, if anything
    std::string gain;    ///< as the user noted it; empty: not known
};

/// What was heard of a visit, ready to be compared.
struct HeardVisit {
    VisitRequest request;
    Listened heard;
    std::vector<RpmReading> readings;
    std::vector<SprayBurst> bursts;        ///< one per mark within the recording, spots left to the comparison
    std::vector<std::string> burst_spots;  ///< the spot of each
    std::vector<std::string> answering;    ///< spots that the spray test proves to leak or to catch a neighbour's spray
    IdleFigures idle;
    FigureValue half_orders;  ///< share of the lines' power; spread of its logarithm
    SpotHiss hiss;
    std::optional<InjectorView> injectors;
    std::string device;  ///< that recorded it; empty: not known
};

struct VisitFailure {
    Error error;
    bool sound_is_why = false;
    bool can_be_overruled = false;  ///< by CompareRequest::anyway
};

/// One pass over the recording, one over each injector's. Half orders and hiss are heard in the first part, in the
/// quiet start where it is long enough, so that the can does not count.
std::variant<HeardVisit, VisitFailure> hear_visit(const VisitRequest& request, const ListenSinks& sinks);

}  // namespace idlehark
