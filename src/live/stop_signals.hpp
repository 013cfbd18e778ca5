#pragma once

namespace idlehark {

/// While this lives, Ctrl-C, a closed terminal and `kill` ask for an orderly end instead of ending the program: what
/// was recorded gets closed, the terminal restored. A closed pipe is an output that fails, no more. One at a time.
class StopSignals {
   public:
    StopSignals();
    ~StopSignals();
    StopSignals(const StopSignals&) = delete;
    StopSignals& operator=(const StopSignals&) = delete;
    [[nodiscard]] bool asked() const noexcept;
};

}  // namespace idlehark
