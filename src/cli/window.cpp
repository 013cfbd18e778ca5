#include "src/cli/window_command.hpp"

#include <memory>

namespace idlehark {

void add_window(CLI::App& app, Command& chosen, const WindowOpener& open_window) {
    auto request = std::make_shared<WindowRequest>();
    auto* command =
        app.add_subcommand("window", "The window, with a say in how it opens; `idlehark` alone does as well");
    command->add_option("--practice", request->practice_seed, "Begin with this practice bay");
    command
        ->add_option("--practice-engine", request->practice_engine,
                     "Begin with this one of the ten engines to practise on; --practice places its leaks")
        ->check(CLI::Range(1, 10));
    command->add_option("--pace", request->pace, "How many times as fast as real the practice bay runs, 1 to 20")
        ->check(CLI::Range(1.0, 20.0))
        ->capture_default_str();
    command->add_option("--spots", request->spots, "Spots of a practice bay, 3 to 40")
        ->check(CLI::Range(3, 40))
        ->capture_default_str();
    command->add_option("--case", request->case_folder, "Begin with this case, at its last visit");
    command->add_option("--replay", request->replay,
                        "Begin with this recording; its engine, map and marks lie beside it");
    command->add_option("--cases", request->cases_folder, "Folder in which new cases are made");
    command->add_option("--width", request->width, "Of the window, in pixels")->check(CLI::Range(320, 16384));
    command->add_option("--height", request->height, "Of the window, in pixels")->check(CLI::Range(240, 16384));
    command->add_option("--scale", request->scale, "Size of everything, 1 to 3")->check(CLI::Range(1.0, 3.0));
    command->add_option("--language", request->language, "en or de")->check(CLI::IsMember({"en", "de"}));
    command->add_flag("--frames", request->report_frames, "On closing, print how long frames took");
    command->footer(
        "Keys: Esc stops everything; an opened list it closes first. F1 to F10 turn the pages, Tab, arrows and Enter "
        "work the forms.\n"
        "During the spray test: space or page down (foot pedal, presenter) marks a burst; R repeats, K skips,\n"
        "W says that another spot got the spray, U undoes, P pauses. Ctrl + and - change the size, Ctrl L the "
        "language.\n"
        "Example: idlehark window --practice 7\nExample: idlehark window --case my-car");
    command->callback(
        [request, &chosen, open_window] { chosen = [request, open_window] { return open_window(*request); }; });
}

}  // namespace idlehark
