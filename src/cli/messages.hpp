#pragma once

#include "src/result.hpp"

#include <cstdint>
#include <string>
#include <string_view>

namespace idlehark {

/// What the program hands back to the shell.
inline constexpr int kExitDone = 0;
inline constexpr int kExitNoAnswer = 1;  ///< the sound does not allow an answer
inline constexpr int kExitBadInput = 2;  ///< wrong use, or a file that is wrong

/// All messages go to stderr, one or two lines each, with the program's name in front.
int refuse(const Error& error);     ///< prints, returns kExitBadInput
int no_answer(const Error& error);  ///< prints, returns kExitNoAnswer
void warn(std::string_view text);

/// Ends a command that wrote to stdout: kExitBadInput with a message if not all of it could be written.
int close_output(int exit_code);

/// A percentage on stderr for work that takes long; silent unless stderr is a terminal.
class Progress {
   public:
    explicit Progress(std::string label);
    ~Progress();
    Progress(const Progress&) = delete;
    Progress& operator=(const Progress&) = delete;
    void at(std::uint64_t done, std::uint64_t total);
    /// Takes the percentage off the screen, before anything else is written.
    void end();

   private:
    std::string label_;
    int shown_percent_ = -1;
    bool terminal_;
};

}  // namespace idlehark
