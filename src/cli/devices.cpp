#include "src/capture/audio_system.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"

#include <fmt/format.h>

namespace idlehark {

namespace {

int devices() {
    const auto system = AudioSystem::open();
    if (!system) return refuse(system.error());
    const auto all = system.value().devices();
    if (all.empty())
        return no_answer({"no sound device was found", "Is it plugged in, and is the sound server running?"});
    fmt::print("number  in  out     rate  host      name\n");
    for (const auto& d : all)
        fmt::print("{:6}  {:2}  {:3}  {:7.0f}  {:8}  {}{}{}\n", d.number, d.input_channels, d.output_channels,
                   d.default_rate_hz, d.host, d.name, d.default_input ? "  (default input)" : "",
                   d.default_output ? "  (default output)" : "");
    return close_output(kExitDone);
}

}  // namespace

void add_devices(CLI::App& app, Command& chosen) {
    auto* command = app.add_subcommand("devices", "Microphones and other sound devices");
    command->footer(
        "in and out are channels, rate is the default in Hz; --device takes the number or part of the name.\n"
        "Example: idlehark devices");
    command->callback([&chosen] { chosen = [] { return devices(); }; });
}

}  // namespace idlehark
