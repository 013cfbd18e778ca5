#include "src/analysis/balance_check.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/report/balance_picture.hpp"
#include "src/report/page.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct BalanceOptions {
    SoundOptions sound;
    EngineOptions engine;
    std::optional<int> reference_channel;
    int reference_cylinder = 1;
    std::string format = "text";
    std::string plot;
};

int balance(const BalanceOptions& options) {
    const auto engine = resolve(options.engine);
    if (!engine) return refuse(engine.error());
    if (!options.plot.empty())
        if (const auto named = check_picture_name(options.plot); !named) return refuse(named.error());
    BalanceRequest request;
    request.listen = {options.sound.path, options.sound.channel, engine.value(), 0.1};
    request.reference_channel = options.reference_channel;
    request.reference_cylinder = options.reference_cylinder;
    Progress progress{"listening"};
    ListenSinks sinks;
    sinks.progress = [&progress](std::uint64_t done, std::uint64_t total) { progress.at(done, total); };
    const auto outcome = check_balance(request, sinks);
    progress.end();
    if (const auto* failure = std::get_if<BalanceFailure>(&outcome))
        return failure->sound_is_why ? no_answer(failure->error) : refuse(failure->error);
    const auto& view = std::get<BalanceView>(outcome);
    fmt::print("{}", options.format == "json" ? balance_json(view) : balance_table(view));
    if (!options.plot.empty())
        if (const auto drawn = draw_balance(view, options.plot); !drawn) return refuse(drawn.error());
    return close_output(kExitDone);
}

}  // namespace

void add_balance(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<BalanceOptions>();
    auto* command = app.add_subcommand("balance", "Is one cylinder weak, or missing now and then?");
    add_sound_options(*command, options->sound);
    add_engine_options(*command, options->engine);
    command->add_option("--reference-channel", options->reference_channel,
                        "Channel with the pulse of a pick-up on one ignition lead: names the cylinders");
    command->add_option("--reference-cylinder", options->reference_cylinder, "The cylinder whose lead that is")
        ->capture_default_str();
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->add_option("--plot", options->plot, "Also draw a bar per firing into this .png or .svg file");
    command->footer(
        "Keep hands, leads and the microphone clear of belts, fans and hot parts.\n"
        "Verdicts: even, weak, misfires, sounds different (no loss of strength proven), undecided.\n"
        "Example: idlehark balance idle.wav --engine engine.json --plot balance.png");
    command->callback([options, &chosen] { chosen = [options] { return balance(*options); }; });
}

}  // namespace idlehark
