#include "src/capture/audio_system.hpp"
#include "src/capture/output_stream.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/live/voice.hpp"

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#include <fmt/format.h>

namespace idlehark {

namespace {

/// Plays what `listen --prompts` plays, so that the loudness can be set beforehand.
int try_prompts(const AudioSystem& system, const std::string& wanted) {
    const auto device = choose_output(system.devices(), wanted);
    if (!device) return refuse(device.error());
    auto output = OutputStream::open(device.value());
    if (!output) return refuse(output.error());
    auto& out = output.value();
    for (auto sound : {beep(out.sample_rate_hz(), true), beep(out.sample_rate_hz(), false),
                       speak("Spot 7 noted. Next.", out.sample_rate_hz())}) {
        const std::chrono::duration<double> longest{static_cast<double>(sound.size()) / out.sample_rate_hz() + 5.0};
        const auto give_up = std::chrono::steady_clock::now() + longest;
        out.play(std::move(sound));
        while (out.playing())
            if (std::this_thread::sleep_for(std::chrono::milliseconds{20}); std::chrono::steady_clock::now() > give_up)
                return refuse({device.value().name + " takes no sound", ""});
    }
    std::this_thread::sleep_for(std::chrono::milliseconds{500});  // what the device still holds
    return kExitDone;
}

int devices(const std::optional<std::string>& try_output) {
    const auto system = AudioSystem::open();
    if (!system) return refuse(system.error());
    const auto all = system.value().devices();
    if (try_output) return try_prompts(system.value(), *try_output);
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
    auto prompts = std::make_shared<std::optional<std::string>>();
    command->add_option("--try-prompts", *prompts, "Plays the prompts on this output instead; \"\": the default one");
    command->callback([prompts, &chosen] { chosen = [prompts] { return devices(*prompts); }; });
}

}  // namespace idlehark
