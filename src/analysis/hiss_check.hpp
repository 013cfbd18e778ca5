#pragma once

#include "dsp/hiss/hiss_survey.hpp"
#include "src/result.hpp"

#include <functional>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace idlehark {

struct HissRequest {
    struct Recording {
        std::string spot, path;
        double gain_db = 0.0;  ///< recording gain of this one; used when `declared`
    };
    Engine engine;
    int channel = 1;
    std::vector<Recording> recordings;
    bool declared = false;  ///< the gains are stated; else the engine's lines are the common measure
};

struct HissRow {
    std::string spot, recording;
    double rpm = 0.0;  ///< NaN if the engine was not followed here
    SpotSurvey figures;
};

/// Plain values for the table, the JSON and the picture.
struct HissView {
    std::string engine, headline;
    bool declared = false;
    std::vector<HissRow> rows;  ///< ranked: what stands out first, then by level
    std::vector<std::string> cautions, notes;
};

struct HissFailure {
    Error error;
    bool sound_is_why = false;
};

/// One pass over each recording, several at a time; `progress` gets the number done.
std::variant<HissView, HissFailure> check_hiss(const HissRequest& request,
                                               const std::function<void(std::size_t)>& progress);

[[nodiscard]] std::string word(HissVerdict v);
[[nodiscard]] std::string hiss_table(const HissView& view);
/// {"gain_from","spots":[{"spot","level_db","level_low_db","level_high_db","follow_db",...,"depth","gain_db","least_db",
/// "p_level","p_follow","rpm","verdict"}],"cautions","notes"}, ranked; what is not known is null.
[[nodiscard]] std::string hiss_json(const HissView& view);

}  // namespace idlehark
