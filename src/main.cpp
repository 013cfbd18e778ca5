#include "gui/shell/window.hpp"
#include "src/cli/cli.hpp"
#include "src/cli/messages.hpp"
#include "src/desk/desk.hpp"
#include "src/files/last_choice.hpp"
#include "src/files/user_folders.hpp"

#include <exception>
#include <string>

#include <fmt/format.h>

namespace {

using namespace idlehark;

int open_window(const WindowRequest& request) {
    DeskOptions options;
    options.cases_folder = request.cases_folder.empty() ? usual_cases_folder().string() : request.cases_folder;
    options.practice_spots = request.spots;
    Desk desk{options};
    if (request.practice_seed || request.practice_engine > 0)
        desk.send(gui::ask::StartPractice{request.practice_seed.value_or(1), request.pace, request.practice_engine});
    if (!request.case_folder.empty()) desk.send(gui::ask::OpenCase{request.case_folder});
    if (!request.replay.empty()) desk.send(gui::ask::StartReplay{request.replay, {}});

    gui::WindowOptions window;
    window.width = request.width;
    window.height = request.height;
    if (request.scale) window.scale = static_cast<float>(*request.scale);
    if (!request.language.empty())
        window.language = request.language == "de" ? gui::Language::german : gui::Language::english;
    window.memory = last_window();
    window.keep_memory = [](const std::string& line) { remember_window(line); };
    window.picture_folder = std::string(1, '.');
    if (request.report_frames)
        window.report_frames = [](const gui::FrameReport& r) {
            fmt::print(stderr,
                       "first frame {:.0f} ms; {} frames in {:.1f} s, median {:.1f} ms, 99 % {:.1f} ms, longest {:.1f} "
                       "ms, of it own work {:.1f} ms\n",
                       r.first_ms, r.frames, r.open_s, r.frame_wall.median, r.frame_wall.p99, r.frame_wall.worst,
                       r.frame_cpu.worst);
        };
    const auto fault = gui::run_window(
        {.view = [&desk] { return desk.view(); }, .send = [&desk](gui::Command c) { desk.send(std::move(c)); }},
        window);
    return fault ? refuse({fault->what, fault->hint}) : kExitDone;
}

}  // namespace

int main(int argc, char** argv) {
    try {
        return run_command_line(argc, argv, open_window);
    } catch (const std::exception& e) {
        return refuse({std::string{"stopped by an unexpected fault: "} + e.what(), ""});
    } catch (...) {
        return refuse({"stopped by an unexpected fault", ""});
    }
}
