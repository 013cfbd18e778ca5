#include "src/live/terminal.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstdlib>
#include <string_view>

#include <fcntl.h>
#include <signal.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

namespace idlehark {

namespace {

constexpr std::string_view kEnter = "\033[?1049h\033[?25l\033[2J";  // other screen, no cursor, clear
constexpr std::string_view kLeave = "\033[?25h\033[?1049l";
constexpr std::array kFaults{SIGSEGV, SIGABRT, SIGBUS, SIGFPE, SIGILL};

termios cooked;  // as found; read by the fault handler
volatile std::sig_atomic_t in_use = 0;

void write_all(std::string_view text) noexcept {
    while (!text.empty()) {
        const auto n = ::write(STDOUT_FILENO, text.data(), text.size());
        if (n < 0 && (errno == EINTR || errno == EAGAIN)) continue;
        if (n <= 0) return;
        text.remove_prefix(static_cast<std::size_t>(n));
    }
}

/// Only calls that a signal handler may make.
void restore() noexcept {
    if (in_use == 0) return;
    in_use = 0;
    write_all(kLeave);
    tcsetattr(STDIN_FILENO, TCSANOW, &cooked);
}

extern "C" void restore_and_die(int signal) {
    restore();
    ::signal(signal, SIG_DFL);
    raise(signal);
}

}  // namespace

std::unique_ptr<Terminal> Terminal::open() {
    const char* kind = std::getenv("TERM");
    if (!isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO) || !kind || std::string_view{kind} == "dumb") return nullptr;
    if (tcgetattr(STDIN_FILENO, &cooked) != 0) return nullptr;
    return std::unique_ptr<Terminal>{new Terminal};
}

Terminal::Terminal() {
    termios raw = cooked;
    raw.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);
    raw.c_cc[VMIN] = 0;
    raw.c_cc[VTIME] = 0;
    raw.c_cc[VSUSP] = _POSIX_VDISABLE;
    in_use = 1;
    for (const int fault : kFaults) ::signal(fault, restore_and_die);
    tcsetattr(STDIN_FILENO, TCSANOW, &raw);
    write_all(kEnter);
}

Terminal::~Terminal() {
    restore();
    for (const int fault : kFaults) ::signal(fault, SIG_DFL);
}

std::string Terminal::keys() {
    std::array<char, 64> buffer{};
    const auto n = ::read(STDIN_FILENO, buffer.data(), buffer.size());
    if (n < 0 && errno != EINTR && errno != EAGAIN) gone_ = true;
    std::string result;
    for (ssize_t i = 0; i < n; ++i) {
        const char c = buffer[static_cast<std::size_t>(i)];
        if (c == '\033') {  // ESC [ ... letter
            if (i + 1 < n && buffer[static_cast<std::size_t>(i + 1)] == '[')
                for (i += 2; i < n && !(buffer[static_cast<std::size_t>(i)] >= '@'); ++i) {
                }
            continue;
        }
        result += c;
    }
    return result;
}

TerminalSize Terminal::size() const noexcept {
    winsize w{};
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &w) != 0 || w.ws_col == 0 || w.ws_row == 0) return {};
    return {.columns = w.ws_col, .rows = w.ws_row};
}

void Terminal::show(const std::vector<std::string>& lines) {
    const auto now = size();
    if (now.columns != shown_size_.columns || now.rows != shown_size_.rows) {
        shown_.clear();
        shown_size_ = now;
        write_all("\033[2J");
    }
    std::string out;
    const auto rows = std::min(std::max(lines.size(), shown_.size()), static_cast<std::size_t>(now.rows));
    for (std::size_t i = 0; i < rows; ++i) {
        const auto text = i < lines.size() ? cut_to(lines[i], now.columns) : std::string{};
        if (i < shown_.size() && shown_[i] == text) continue;
        out += "\033[" + std::to_string(i + 1) + ";1H\033[2K" + text;
        if (i >= shown_.size()) shown_.resize(i + 1);
        shown_[i] = text;
    }
    write_all(out);
}

std::string cut_to(const std::string& text, int columns) {
    std::size_t end = 0;
    for (int n = 0; end < text.size() && n < columns; ++n) {
        ++end;
        while (end < text.size() && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U) ++end;
    }
    return text.substr(0, end);
}

bool speaks_utf8() {
    for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"})
        if (const char* value = std::getenv(name); value && *value) {
            const std::string text = value;
            return text.find("UTF-8") != std::string::npos || text.find("utf8") != std::string::npos;
        }
    return false;
}

}  // namespace idlehark
