#include "src/live/stop_signals.hpp"

#include <array>
#include <csignal>

#include <signal.h>

namespace idlehark {

namespace {

constexpr std::array kSignals{SIGINT, SIGTERM, SIGHUP, SIGQUIT};
volatile std::sig_atomic_t asked_to_stop = 0;
std::array<struct sigaction, kSignals.size()> before;
struct sigaction before_pipe;

extern "C" void note_stop(int) { asked_to_stop = 1; }

}  // namespace

StopSignals::StopSignals() {
    asked_to_stop = 0;
    struct sigaction action {};
    action.sa_handler = note_stop;
    sigemptyset(&action.sa_mask);
    for (std::size_t i = 0; i < kSignals.size(); ++i) sigaction(kSignals[i], &action, &before[i]);
    action.sa_handler = SIG_IGN;
    sigaction(SIGPIPE, &action, &before_pipe);
}

StopSignals::~StopSignals() {
    for (std::size_t i = 0; i < kSignals.size(); ++i) sigaction(kSignals[i], &before[i], nullptr);
    sigaction(SIGPIPE, &before_pipe, nullptr);
}

bool StopSignals::asked() const noexcept { return asked_to_stop != 0; }

}  // namespace idlehark
