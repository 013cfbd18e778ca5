#include "src/cli/guide_run.hpp"
#include "src/cli/live_run.hpp"
#include "src/cli/messages.hpp"
#include "src/cli/plan_options.hpp"

#include <memory>

#include <unistd.h>

namespace idlehark {

namespace {

struct ListenOptions {
    LiveOptions live;
    EngineOptions engine;
    std::string format = "text";
    std::string prompts;
    bool guide = false;
    PlanOptions plan;
};

int listen(const ListenOptions& options) {
    const auto engine = resolve(options.engine);
    if (!engine) return refuse(engine.error());
    auto live = options.live;
    live.engine = engine.value();
    live.prompts = options.prompts == "spoken" ? PromptStyle::spoken
                   : options.prompts == "beep" ? PromptStyle::beep
                                               : PromptStyle::off;
    live.json = options.format == "json";
    if (options.guide) {
        const auto settings = resolve(options.plan, engine.value());
        if (!settings) return refuse(settings.error());
        if (options.prompts.empty()) live.prompts = PromptStyle::spoken;
        return run_guide(live, settings.value());
    }
    if (!live.pace) live.pace = !live.json && isatty(STDOUT_FILENO) ? 1.0 : 0.0;
    return run_live(live);
}

}  // namespace

void add_listen(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<ListenOptions>();
    auto& live = options->live;
    auto* command = app.add_subcommand("listen", "Idle speed live from a microphone, in the terminal");
    add_engine_options(*command, options->engine);
    add_device_options(*command, live);
    command->add_option("--record", live.record_path, "Record as well: .flac or .wav; keys then mark bursts");
    command->add_flag("--resume", live.resume, "If the recording is there already, go on in a new part");
    command->add_option("--hop", live.hop_s, "Seconds from one reading to the next, 0.02 to 2")
        ->check(CLI::Range(0.02, 2.0))
        ->capture_default_str();
    command->add_option("--format", options->format, "text, or json: one line per reading, hiss or loss")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command
        ->add_option("--prompts", options->prompts,
                     "off (default), beep or spoken (default with --guide); never while an answer is measured")
        ->check(CLI::IsMember({"off", "beep", "spoken"}));
    command->add_flag("--guide", options->guide,
                      "Guide through the spray test: cautions, where to spray next, when to stop (needs --map)");
    add_plan_options(*command, options->plan);
    command->add_option("--from", live.from, "Play a recording in place of the microphone");
    command->add_option("--channel", live.from_channel, "Which channel of that recording")->capture_default_str();
    command->add_option("--pace", live.pace, "Its speed: 1 as recorded, 0 as fast as it goes")
        ->check(CLI::Range(0.0, 1000.0));
    command->footer(
        "Keys: digits choose a spot, Enter or space marks a burst there now (with --record), q ends.\n"
        "Example: idlehark listen --engine engine.json --record bay.flac");
    command->callback([options, &chosen] { chosen = [options] { return listen(*options); }; });
}

}  // namespace idlehark
