#include "src/live/terminal.hpp"

#include "src/files/marks_file.hpp"
#include "tests/src/support.hpp"

#include <chrono>
#include <csignal>
#include <cstring>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <pty.h>
#include <sys/ioctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>
#include <utmp.h>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

constexpr int kSignals[]{SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGSEGV, SIGABRT};

/// What a shell does: runs the program as a child, outlives it, and ends the way it ended. (When the leader of a
/// session dies, the kernel throws away what the terminal has not read yet.)
[[noreturn]] void lead_session(const std::vector<std::string>& arguments) {
    const pid_t program = fork();
    if (program == 0) {
        setenv("TERM", "xterm", 1);
        std::vector<char*> argv{const_cast<char*>("idlehark")};
        for (const auto& a : arguments) argv.push_back(const_cast<char*>(a.c_str()));
        argv.push_back(nullptr);
        execv(test::program_path().c_str(), argv.data());
        _exit(99);
    }
    for (const int s : kSignals) signal(s, SIG_IGN);
    int status = 0;
    waitpid(program, &status, 0);
    std::this_thread::sleep_for(std::chrono::milliseconds{200});
    _exit(WIFSIGNALED(status) ? 128 + WTERMSIG(status) : WEXITSTATUS(status));
}

/// `idlehark` in a terminal of its own; what it writes is collected.
class InTerminal {
   public:
    InTerminal(const std::vector<std::string>& arguments, unsigned short columns) {
        winsize size{};
        size.ws_col = columns;
        size.ws_row = 12;
        REQUIRE(openpty(&master_, &slave_, nullptr, nullptr, &size) == 0);
        tcgetattr(slave_, &before_);
        child_ = fork();
        if (child_ == 0) {
            close(master_);
            login_tty(slave_);
            lead_session(arguments);
        }
    }
    ~InTerminal() {
        if (child_ > 0) {
            kill(-child_, SIGKILL);
            waitpid(child_, nullptr, 0);
        }
        close(slave_);
        close(master_);
    }
    InTerminal(const InTerminal&) = delete;
    InTerminal& operator=(const InTerminal&) = delete;

    bool wait_for(const std::string& text) {
        const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds{20};
        while (seen_.find(text) == std::string::npos && std::chrono::steady_clock::now() < give_up) collect(50);
        return seen_.find(text) != std::string::npos;
    }
    void type(const std::string& keys) const {
        REQUIRE(write(master_, keys.data(), keys.size()) == static_cast<ssize_t>(keys.size()));
    }
    void resize(unsigned short columns) const {
        winsize size{};
        size.ws_col = columns;
        size.ws_row = 3;
        ioctl(master_, TIOCSWINSZ, &size);
    }
    void signal(int number) const { kill(-child_, number); }
    /// Its wait status.
    int end() {
        int status = 0;
        for (int i = 0; i < 400 && waitpid(child_, &status, WNOHANG) == 0; ++i) collect(50);
        child_ = -1;
        while (collect(50)) {
        }
        return status;
    }
    /// The line discipline is as it was, and the last thing sent was the way back to the normal screen.
    [[nodiscard]] bool settings_restored() const {
        termios now{};
        if (tcgetattr(slave_, &now) != 0) return false;
        return now.c_lflag == before_.c_lflag && std::memcmp(now.c_cc, before_.c_cc, sizeof now.c_cc) == 0;
    }
    [[nodiscard]] bool screen_left() const { return seen_.find("\033[?25h\033[?1049l") != std::string::npos; }
    [[nodiscard]] bool raw() const {
        termios now{};
        tcgetattr(slave_, &now);
        return (now.c_lflag & (ICANON | ECHO)) == 0;
    }
    [[nodiscard]] const std::string& seen() const { return seen_; }

   private:
    /// False if nothing came.
    bool collect(int wait_ms) {
        fd_set set;
        FD_ZERO(&set);
        FD_SET(master_, &set);
        timeval patience{.tv_sec = 0, .tv_usec = wait_ms * 1000};
        if (select(master_ + 1, &set, nullptr, nullptr, &patience) <= 0) return false;
        char buffer[4096];
        const auto n = read(master_, buffer, sizeof buffer);
        if (n > 0) seen_.append(buffer, static_cast<std::size_t>(n));
        return n > 0;
    }

    int master_ = -1;
    int slave_ = -1;
    pid_t child_ = -1;
    termios before_{};
    std::string seen_;
};

const std::vector<std::string> kListen{
    "listen", "--from", test::recordings_path("bay.ogg"), "--engine", test::recordings_path("engine.json"),
    "--pace", "3"};

}  // namespace

TEST_CASE("listen: the terminal is restored on every way out", "[terminal]") {
    struct Way {
        const char* name;
        std::function<void(InTerminal&)> leave;
        int signal;  // that ends it; 0: an orderly end
    };
    const Way ways[]{{"q", [](InTerminal& t) { t.type("q"); }, 0},
                     {"Ctrl-C", [](InTerminal& t) { t.type("\003"); }, 0},
                     {"SIGTERM", [](InTerminal& t) { t.signal(SIGTERM); }, 0},
                     {"SIGHUP", [](InTerminal& t) { t.signal(SIGHUP); }, 0},
                     {"SIGQUIT", [](InTerminal& t) { t.signal(SIGQUIT); }, 0},
                     {"SIGSEGV", [](InTerminal& t) { t.signal(SIGSEGV); }, SIGSEGV},
                     {"SIGABRT", [](InTerminal& t) { t.signal(SIGABRT); }, SIGABRT}};
    for (const auto& way : ways) {
        CAPTURE(way.name);
        InTerminal terminal{kListen, 80};
        REQUIRE(terminal.wait_for("dBFS"));
        CHECK(terminal.raw());
        CHECK_FALSE(terminal.settings_restored());
        CHECK_FALSE(terminal.screen_left());
        terminal.type("\032");  // Ctrl-Z does nothing
        // Let it be read: a terminal restored under an unread Ctrl-Z takes it as one and throws its output away.
        std::this_thread::sleep_for(std::chrono::milliseconds{200});
        way.leave(terminal);
        const int status = terminal.end();
        CHECK(terminal.settings_restored());
        CHECK(terminal.screen_left());
        REQUIRE(WIFEXITED(status));
        if (way.signal == 0)
            CHECK(WEXITSTATUS(status) < 2);  // 1: stopped before anything was locked
        else
            CHECK(WEXITSTATUS(status) == 128 + way.signal);
    }
}

TEST_CASE("listen: figures at work in a narrow window, and keys mark bursts on the disk", "[terminal]") {
    const ScratchFolder folder;
    auto arguments = kListen;
    arguments.insert(arguments.end(), {"--record", folder.path("r.flac")});
    InTerminal terminal{arguments, 80};
    REQUIRE(terminal.wait_for("rpm +-"));
    terminal.type(" ");
    REQUIRE(terminal.wait_for("type the spot's number first"));
    terminal.type("12\r");
    REQUIRE(terminal.wait_for("marked"));
    {
        const auto marks = read_marks(folder.path("r.marks.csv"));  // there at once, not at the end
        REQUIRE(marks);
        REQUIRE(marks.value().marks.size() == 1);
        CHECK(marks.value().marks[0].spot == "12");
        CHECK(marks.value().marks[0].time_s > 0.0);
    }
    terminal.type(
        "\033[A4\177"
        "7 ");  // an arrow, a wrong digit taken back
    REQUIRE(terminal.wait_for("spot 7"));
    terminal.resize(9);
    std::this_thread::sleep_for(std::chrono::milliseconds{300});
    terminal.type("q");
    CHECK(WIFEXITED(terminal.end()));
    CHECK(terminal.settings_restored());
    CHECK(terminal.screen_left());
    const auto marks = read_marks(folder.path("r.marks.csv"));
    REQUIRE(marks);
    REQUIRE(marks.value().marks.size() == 2);
    CHECK(marks.value().marks[1].spot == "7");
    CHECK_THAT(terminal.seen(), Contains("2 marks in"));
}

TEST_CASE("Terminal: cuts by characters, not bytes", "[terminal]") {
    CHECK(cut_to("▁▂▃", 2) == "▁▂");
    CHECK(cut_to("abc", 5) == "abc");
    CHECK(cut_to("abc", 0).empty());
}
