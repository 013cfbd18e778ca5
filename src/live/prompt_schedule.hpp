#pragma once

#include <optional>
#include <string>

namespace idlehark {

/// When a prompt may sound, and which. The idle is measured for the quiet stretch at the start and for the answer to
/// each burst; no prompt falls into either. What is due meanwhile waits. All times count in the recording.
///   0 .. kQuiet_s                  the quiet idle that the test's threshold is learned from
///   mark .. mark + kAnswer_s       delay, rise and two time constants of the return
/// After that: "ready" once, "next" after each mark, "no idle" when the lock has been lost for kLost_s (once a loss).
class PromptSchedule {
   public:
    static constexpr double kQuiet_s = 25.0;
    static constexpr double kAnswer_s = 10.0;
    static constexpr double kLost_s = 5.0;

    struct Prompt {
        std::string text;  ///< to be spoken
        bool asks_for_spray = false;
    };

    /// A burst begins at this time. A prompt that is sounding must be cut.
    void mark(double time_s, const std::string& spot);
    void reading(double time_s, bool locked);
    /// The prompt to play at `now_s`, if one is due and allowed.
    [[nodiscard]] std::optional<Prompt> due(double now_s);

   private:
    double quiet_until_s_ = kQuiet_s;
    bool ready_said_ = false;
    std::optional<std::string> noted_;  ///< spot of the last mark, until "next" is said
    bool locked_ = false;
    double lock_seen_s_ = 0.0;
    bool loss_said_ = false;
};

}  // namespace idlehark
