#include "src/cli/cli.hpp"

#include "src/cli/command.hpp"
#include "src/cli/manual/manual.hpp"
#include "src/cli/messages.hpp"
#include "src/cli/number_options.hpp"
#include "src/cli/version.hpp"
#include "src/cli/window_command.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

std::function<int()> read_command_line(int argc, const char* const* argv, const WindowOpener& open_window) {
    const auto whole = std::make_shared<CLI::App>(
        "Idlehark listens to an idling engine and says, with numbers, which joint of its intake leaks.\n"
        "Every test with spray is a fire risk: read the cautions in README.md first.",
        "idlehark");
    CLI::App& app = *whole;
    app.set_version_flag("--version", build_facts, "Version, compiler and libraries of this build");
    app.require_subcommand(1);
    app.get_formatter()->column_width(34);
    app.footer(
        "`idlehark` alone opens the window. `idlehark COMMAND --help` explains a command. Exit code: 0 done, 1 the "
        "sound allows no answer, 2 wrong "
        "input.");

    Command chosen;
    for (const auto add :
         {add_idle, add_bursts, add_spray, add_plan, add_injectors, add_hiss, add_balance, add_compare, add_practice,
          add_demo, add_devices, add_record, add_listen, add_case, add_report, add_manual})
        add(app, chosen);
    add_window(app, chosen, open_window);
    read_plain_numbers(app);

    if (argc < 2) return [open_window] { return open_window({}); };
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& e) {
        // --help and --version are answered here.
        const int code = e.get_exit_code() == 0
                             ? app.exit(e)
                             : refuse(Error{e.what(),
                                            "idlehark --help lists the commands; idlehark COMMAND --help its "
                                            "options."});
        return [code] { return code; };
    }
    return [whole, chosen] { return chosen(); };  // the manual is made from the app itself
}

int run_command_line(int argc, const char* const* argv, const WindowOpener& open_window) {
    return read_command_line(argc, argv, open_window)();
}

}  // namespace idlehark
