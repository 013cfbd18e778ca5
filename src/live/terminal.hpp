#pragma once

#include <memory>
#include <string>
#include <vector>

namespace idlehark {

struct TerminalSize {
    int columns = 80;
    int rows = 24;
};

/// The terminal as a screen with single keys, for as long as this lives. Restored on every way out that can be caught:
/// destruction, faults (SIGSEGV, SIGABRT, SIGBUS, SIGFPE, SIGILL), uncaught exceptions. Signals that ask for an end are
/// the owner's (StopSignals). Ctrl-Z is switched off: a stopped program records nothing. Threads: one owner.
class Terminal {
   public:
    /// nullptr unless stdin and stdout are a terminal that can move its cursor.
    static std::unique_ptr<Terminal> open();
    ~Terminal();
    Terminal(const Terminal&) = delete;
    Terminal& operator=(const Terminal&) = delete;

    /// Keys pressed since the last call; arrow keys and the like are left out.
    [[nodiscard]] std::string keys();
    /// The terminal has gone away (the line hung up).
    [[nodiscard]] bool gone() const noexcept { return gone_; }
    [[nodiscard]] TerminalSize size() const noexcept;
    /// Lines from the top, cut to the window; only what changed is sent.
    void show(const std::vector<std::string>& lines);

   private:
    Terminal();
    std::vector<std::string> shown_;
    TerminalSize shown_size_;
    bool gone_ = false;
};

/// The text's first `columns` characters (UTF-8; every character is taken as one column wide).
[[nodiscard]] std::string cut_to(const std::string& text, int columns);

/// Do the locale's variables ask for UTF-8?
[[nodiscard]] bool speaks_utf8();

}  // namespace idlehark
