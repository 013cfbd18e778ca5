#pragma once

#include "dsp/plan/planner.hpp"
#include "dsp/sim/session.hpp"
#include "src/visit/spray_visit.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// An invented engine to practise on. What is wrong with it is told at the end.
struct PracticeEngine {
    int number;  ///< 1..10, rising in difficulty
    const char* name;
    const char* complaint;  ///< what its owner says
    const char* lesson;     ///< told in the debrief
};
inline constexpr int kPracticeEngines = 10;
[[nodiscard]] std::span<const PracticeEngine> practice_engines() noexcept;

/// Its simulation; `seed` places the leaks and draws everything that is random. Throws std::out_of_range for a number
/// that is none.
[[nodiscard]] sim::SessionSpec practice_engine(int number, std::uint64_t seed, double sample_rate_hz = 16000.0);

/// What was found, missed and sprayed in vain, against the truth: plain sentences, the result first, the lesson (if
/// there is one) last.
[[nodiscard]] std::vector<std::string> debrief(const sim::SessionSpec& truth, const std::string& lesson,
                                               const VisitRecord& record, const plan::PlanStep& last);

}  // namespace idlehark
