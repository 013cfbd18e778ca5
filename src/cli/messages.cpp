#include "src/cli/messages.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <utility>

#include <fmt/format.h>
#include <unistd.h>

namespace idlehark {

namespace {
void print(std::string_view prefix, const Error& error) {
    std::fflush(stdout);  // keeps the order when both go to one terminal
    fmt::print(stderr, "idlehark: {}{}\n", prefix, error.what);
    if (!error.hint.empty()) fmt::print(stderr, "  {}\n", error.hint);
}
}  // namespace

int refuse(const Error& error) {
    print("", error);
    return kExitBadInput;
}

int no_answer(const Error& error) {
    print("", error);
    return kExitNoAnswer;
}

void warn(std::string_view text) { print("note: ", Error{std::string{text}, ""}); }

int close_output(int exit_code) {
    if (std::fflush(stdout) == 0 && !std::ferror(stdout)) return exit_code;
    return refuse(Error{fmt::format("the output could not be written ({})", std::strerror(errno)), ""});
}

Progress::Progress(std::string label) : label_(std::move(label)), terminal_(isatty(STDERR_FILENO) != 0) {}

Progress::~Progress() { end(); }

void Progress::end() {
    if (shown_percent_ >= 0) fmt::print(stderr, "\r\033[K");
    shown_percent_ = -1;
}

void Progress::at(std::uint64_t done, std::uint64_t total) {
    if (!terminal_ || total == 0) return;
    const int percent = static_cast<int>(100 * done / total);
    if (percent == shown_percent_) return;
    shown_percent_ = percent;
    fmt::print(stderr, "\r{} {} %", label_, percent);
    std::fflush(stderr);
}

}  // namespace idlehark
