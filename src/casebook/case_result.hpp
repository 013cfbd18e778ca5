#pragma once

#include "src/casebook/casebook.hpp"
#include "src/files/json_text.hpp"

#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// A recording's part in a result. `label`: cylinder of an injector, spot of a hiss survey.
struct ResultSource {
    RowId recording = 0;
    std::string label;
    double gain_db = 0.0;
};

/// Figures as a command printed them, with all that is needed to make them again.
struct CaseResult {
    RowId id = 0, visit = 0;
    std::string kind;     ///< idle, spray, guided, balance, injectors, hiss; other words by those who add them
    std::string program;  ///< "idlehark 0.1.0"
    std::string made_at;
    RowId engine = 0;
    std::optional<RowId> map;
    Json settings = Json::object();  ///< what was asked besides engine, map and recordings
    bool answered = true;            ///< false: `figures` holds {"reason", "hint"}
    Json figures = Json::object();   ///< as the command's --format json
    std::vector<ResultSource> sources;
};

}  // namespace idlehark
