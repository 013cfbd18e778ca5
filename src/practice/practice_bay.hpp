#pragma once

#include "dsp/sim/session.hpp"
#include "src/files/map_file.hpp"
#include "src/result.hpp"

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace idlehark {

/// A simulated bay to practise on: no engine, no fuel, the truth beside it.
struct PracticeRequest {
    std::uint64_t seed = 1;
    std::string folder;                   ///< made if it isn't there
    std::string sound_name = "bay.flac";  ///< its ending chooses the format
    std::string engine_name;              ///< empty: the simulator's
    double sample_rate_hz = 16000.0;
    int spots = 12;
    int day = 1;                      ///< another day at the same bay: other unrest, hands and noise
    std::vector<std::string> mended;  ///< these spots do not leak any more
    std::vector<std::string> only;    ///< the spots that are tested; empty: all
    bool disturbed = false;           ///< fan, load steps, unsteady hands, spray that drifts to neighbours
};

/// The session that a seed stands for. Errors: a spot named that the bay does not have.
Result<sim::Session> practice_session(const PracticeRequest& request);

/// Its spots as a map file has them.
[[nodiscard]] BayMap practice_map(const sim::SessionSpec& spec);

/// Errors: one of the files is in the folder already; whatever it is, it is not written over.
Result<Done> check_free(const std::string& folder, const std::vector<std::string>& names);

/// Writes the recording, engine.json, map.json, marks.csv and truth.json into the folder. Errors: one of them is there
/// already, or cannot be written.
Result<Done> write_practice(const PracticeRequest& request,
                            const std::function<void(std::uint64_t done, std::uint64_t total)>& progress);

}  // namespace idlehark
