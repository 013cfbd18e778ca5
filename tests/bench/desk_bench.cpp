// Does the desk keep listening while it thinks? A guided test on the largest practice bay, simulated hands that follow
// every prompt; how long the window waits for a new view while it dries (when plans are worked out) and at any other
// time, and what sound was lost. usage: desk_bench [ENGINE PACE BURSTS SEED]; engine 1..10, pace in times real time.
#include "src/desk/desk.hpp"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <thread>
#include <vector>

#include <unistd.h>

using namespace idlehark;
namespace ask = gui::ask;

namespace {

struct Gaps {
    std::vector<double> ms;
    void print(const char* what) {
        std::sort(ms.begin(), ms.end());
        if (ms.empty()) return;
        std::printf("%-10s %6zu views   median %5.1f ms   99 %% %5.1f ms   longest %6.1f ms\n", what, ms.size(),
                    ms[ms.size() / 2], ms[ms.size() * 99 / 100], ms.back());
    }
};

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int i, double usual) { return argc > i ? std::atof(argv[i]) : usual; };
    const auto wanted = static_cast<int>(number(3, 12));
    const auto folder = std::filesystem::temp_directory_path() / ("idlehark-desk-bench-" + std::to_string(::getpid()));
    {
        Desk desk{{.cases_folder = folder.string()}};
        desk.send(ask::StartPractice{static_cast<std::uint64_t>(number(4, 1)), number(2, 1.0),
                                     static_cast<int>(number(1, 10))});
        bool started = false, pressed = false;
        Gaps thinking, else_where;
        using Clock = std::chrono::steady_clock;
        auto last_new = Clock::now();
        auto view = desk.view();
        while (view->spray.bursts < wanted && view->spray.phase != gui::SprayPhase::finished && !view->fault) {
            std::this_thread::sleep_for(std::chrono::milliseconds{1});
            const auto next = desk.view();
            if (next->revision == view->revision) continue;
            const auto now = Clock::now();
            const double gap_ms = std::chrono::duration<double, std::milli>(now - last_new).count();
            last_new = now;
            if (started && next->sound.running)
                (next->spray.phase == gui::SprayPhase::drying ? thinking : else_where).ms.push_back(gap_ms);
            view = next;
            if (view->sound.running && !started) {
                desk.send(ask::AlternativesSeen{});
                for (std::size_t i = 0; i < gui::kGatePoints; ++i)
                    desk.send(ask::AnswerGate{static_cast<gui::GatePoint>(i), true});
                desk.send(ask::StartSpray{});
                started = true;
            }
            const bool prompt = view->spray.phase == gui::SprayPhase::prompt && !view->spray.sham;
            if (prompt && !pressed) desk.send(ask::Sprayed{});
            pressed = prompt;
        }
        if (view->fault) std::printf("%s\n", view->fault->what.c_str());
        std::printf("%d bursts in %.0f s of sound on %zu spots; %llu gaps, %llu frames lost\n", view->spray.bursts,
                    view->sound.now_s, view->spots.size(), static_cast<unsigned long long>(view->sound.gaps),
                    static_cast<unsigned long long>(view->sound.dropped_frames));
        thinking.print("drying");
        else_where.print("else");
        desk.send(ask::Stop{});
    }
    std::error_code code;
    std::filesystem::remove_all(folder, code);
    return 0;
}
