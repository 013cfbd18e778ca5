#pragma once

#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "src/analysis/listen.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/report/verdict_view.hpp"
#include "src/result.hpp"

#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace idlehark {

/// A spray test as recorded: the sound, and when which spot was sprayed.
struct SprayRequest {
    ListenRequest listen;
    std::optional<BayMap> map;
    std::vector<Mark> marks;         ///< noted by hand; empty: the bursts are found by ear
    std::string marks_file;          ///< for messages
    std::vector<std::string> order;  ///< which spot each found burst went to; repeated if bursts came in equal rounds
    double matters_rpm = 15.0;
};

/// Why there is no verdict. `sound_is_why`: the input is sound, but the recording allows no answer.
struct SprayFailure {
    Error error;
    bool sound_is_why = false;
};

struct SprayAnswer {
    VerdictView view;
    std::vector<std::string> warnings;  ///< about the recording; also in the view's cautions
};

/// From a recording and its marks to the verdict per spot, in one pass over the sound.
/// The spots are the map's, in its order; without a map those of the marks, in order of first mention.
std::variant<SprayAnswer, SprayFailure> judge_spray(const SprayRequest& request, const ListenSinks& sinks);

/// The spot of each of `count` bursts: the order once, or in whole rounds. Nothing if it doesn't come out even.
[[nodiscard]] std::optional<std::vector<std::string>> spread_order(const std::vector<std::string>& order,
                                                                   std::size_t count);

}  // namespace idlehark
