#pragma once

#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook.hpp"
#include "src/visit/visit_plan.hpp"

#include <functional>
#include <string>
#include <utility>
#include <vector>

namespace idlehark {

/// What is to be found out about recordings of a case: all that makes the figures, so that they can be made again.
struct Measurement {
    std::string kind;  ///< "idle", "spray", "guided", "heard", "balance", "injectors", "hiss"
    CaseEngine engine;
    std::optional<CaseMap> map;
    std::vector<std::pair<CaseRecording, ResultSource>> sources;
    Json settings = Json::object();
};

/// Its outcome; a failing sound is an outcome too.
struct Measured {
    bool answered = true;
    Json figures = Json::object();
    std::vector<RpmReading> trace;
};

/// Takes the figures from the audio by the very functions of the commands `spray`, `balance`, `injectors` and `hiss`;
/// paths in their texts become relative to the case. `idle` and `heard` keep the speed over time; `idle` is {"rpm"
/// (median), "spread_rpm" (5 to 95 %), "locked_share", "length_s","cautions"}; `spray` also has "length_s" and
/// "bursts":[{"time_s", "spot"}] as found. Settings understood: channel; marks [[time_s, spot], ...] and matters_rpm
/// (spray), marks, and later_s where later recordings begin (heard: what two visits are compared by, see
/// heard_record.hpp); gain "lines" or "declared" (hiss); record, passes, spot_odds, kind_priors and matters_rpm
/// (guided: the plan's standing after the record's last burst, as `spray` has it; with the speed over time where a test
/// of several recordings is put together). Errors   audio that is missing or unreadable, an unknown kind. Sound that
/// allows no answer is no error. `progress` gets the share done; what it throws ends the work.
using MeasureProgress = std::function<void(double)>;
Result<Measured> measure(const Casebook& book, const Measurement& what, const MeasureProgress& progress = {});

/// The measurement that a stored result came from.
Result<Measurement> measurement_of(const Casebook& book, const CaseResult& result);

/// What a bay recording is measured for: idle, balance and what comparing it needs; spray if it has marks that were not
/// withdrawn. Of the recordings of a guided test the last one is measured for the whole test, and for comparing it; the
/// others are not. `plan`: what the guided test went by besides its record.
Result<std::vector<Measurement>> measurements_of_bay(const Casebook& book, RowId recording, double matters_rpm = 15.0,
                                                     const VisitPlanSettings* plan = nullptr);

/// Measures and stores; returns the result as stored.
Result<CaseResult> measure_and_store(Casebook& book, const Measurement& what, const MeasureProgress& progress = {});
/// All of them, one after the other; ends at the first error, and keeps what was stored before it.
Result<Done> measure_and_store_all(Casebook& book, const std::vector<Measurement>& list,
                                   const MeasureProgress& progress = {});

}  // namespace idlehark
