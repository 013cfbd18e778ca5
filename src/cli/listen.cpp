#include "src/cli/guide_case.hpp"
#include "src/cli/guide_run.hpp"
#include "src/cli/live_run.hpp"
#include "src/cli/messages.hpp"
#include "src/cli/plan_options.hpp"

#include <memory>

#include <unistd.h>

namespace idlehark {

namespace {

struct ListenOptions {
    const CLI::App* given = nullptr;  ///< as the command line has it
    LiveOptions live;
    EngineOptions engine;
    std::string format = "text";
    std::string prompts;
    bool guide = false;
    std::string case_folder;
    PlanOptions plan;
};

int guide(const ListenOptions& options, LiveOptions live) {
    if (const auto own = none_given(*options.given, {"--hop"}, "a guided test reads the speed every 0.1 s"); !own)
        return refuse(own.error());
    if (options.prompts.empty()) live.prompts = PromptStyle::spoken;
    if (!live.pace) live.pace = 1.0;
    if (options.case_folder.empty()) {
        if (live.resume) return refuse({"--resume: there is no test to go on with", "Only a case (--case) keeps one."});
        const auto engine = resolve(options.engine);
        if (!engine) return refuse(engine.error());
        live.engine = engine.value();
        const auto settings = resolve(options.plan, engine.value());
        if (!settings) return refuse(settings.error());
        return run_guide(live, settings.value(), nullptr);
    }
    if (!options.plan.map_path.empty() || !live.record_path.empty())
        return refuse({"--case: the case has its own map and keeps the recording", "Leave out --map and --record."});
    if (const auto own = none_given(*options.given, {"--engine", "--cylinders", "--strokes", "--idle-rpm"},
                                    "the case has its own engine");
        !own)
        return refuse(own.error());
    auto kept = GuideCase::open(options.case_folder, live.resume);
    if (!kept) return refuse(kept.error());
    live.engine = kept.value().engine();
    const auto settings = resolve(options.plan, kept.value().map(), kept.value().engine());
    if (!settings) return refuse(settings.error());
    return run_guide(live, settings.value(), &kept.value());
}

int listen(const ListenOptions& options) {
    auto live = options.live;
    live.prompts = options.prompts == "spoken" ? PromptStyle::spoken
                   : options.prompts == "beep" ? PromptStyle::beep
                                               : PromptStyle::off;
    live.json = options.format == "json";
    if (options.guide) return guide(options, live);
    if (!options.case_folder.empty()) return refuse({"--case goes with --guide", ""});
    if (live.resume && live.record_path.empty())
        return refuse({"--resume: no recording is named to go on with", "Name it: --record FILE."});
    const auto engine = resolve(options.engine);
    if (!engine) return refuse(engine.error());
    live.engine = engine.value();
    if (!live.pace) live.pace = !live.json && isatty(STDOUT_FILENO) ? 1.0 : 0.0;
    return run_live(live);
}

}  // namespace

void add_listen(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<ListenOptions>();
    auto& live = options->live;
    auto* command = app.add_subcommand("listen", "Idle speed live from a microphone, in the terminal");
    options->given = command;
    add_engine_options(*command, options->engine);
    add_device_options(*command, live);
    command->add_option("--record", live.record_path, "Record as well: .flac or .wav; keys then mark bursts");
    command->add_flag("--resume", live.resume, "If the recording is there already, go on in a new part");
    command->add_option("--hop", live.hop_s, "Seconds from one reading to the next, 0.02 to 2; not with --guide")
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
    command->add_option("--case", options->case_folder,
                        "With --guide: the case that has the engine and the map and keeps the test; --resume goes on "
                        "with its latest one");
    command->add_option("--from", live.from, "Play a recording in place of the microphone");
    command->add_option("--channel", live.from_channel, "Which channel of that recording")->capture_default_str();
    command->add_option("--pace", live.pace, "Its speed: 1 as recorded, 0 as fast as it goes")
        ->check(CLI::Range(0.0, 1000.0));
    command->footer(
        "Keys: digits choose a spot, Enter or space marks a burst there now (with --record), q ends.\n"
        "Example: idlehark listen --engine engine.json --record bay.flac\n"
        "Example: idlehark listen --guide --case my-car");
    command->callback([options, &chosen] { chosen = [options] { return listen(*options); }; });
}

}  // namespace idlehark
