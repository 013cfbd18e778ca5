#include "src/cli/spray.hpp"

#include "src/analysis/spray_session.hpp"
#include "src/cli/messages.hpp"
#include "src/report/page.hpp"
#include "src/report/verdict_picture.hpp"
#include "src/report/verdict_text.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

/// The request that the options describe, every file read; notes of the files come back through `warnings`.
Result<SprayRequest> request_of(const SprayOptions& options) {
    auto engine = resolve(options.engine);
    if (!engine) return engine.error();
    SprayRequest request;
    request.listen = {
        .path = options.sound.path, .channel = options.sound.channel, .engine = engine.value(), .hop_s = 0.1};
    request.matters_rpm = options.matters_rpm;
    if (!options.map.empty()) {
        auto map = read_map(options.map, engine.value().cylinders);
        if (!map) return map.error();
        for (const auto& text : map.value().warnings) warn(text);
        request.map = std::move(map.value().map);
    }
    if (options.found != options.marks.empty())
        return Error{"either --marks FILE, or --found with --order, must be given, and not both", ""};
    if (options.found == options.order.empty())
        return Error{"--found and --order belong together",
                     "--order names the spot of each burst in the order they were sprayed: --found --order 3,7,1"};
    request.order = options.order;
    if (!options.marks.empty()) {
        auto marks = read_marks(options.marks);
        if (!marks) return marks.error();
        request.marks = std::move(marks.value().marks);
        request.marks_file = options.marks;
    }
    return request;
}

}  // namespace

int spray(const SprayOptions& options) {
    const auto request = request_of(options);
    if (!request) return refuse(request.error());
    if (!options.plot.empty())
        if (const auto named = check_picture_name(options.plot); !named) return refuse(named.error());

    Progress progress{"listening"};
    ListenSinks sinks;
    sinks.progress = [&progress](std::uint64_t done, std::uint64_t total) { progress.at(done, total); };
    const auto outcome = judge_spray(request.value(), sinks);
    progress.end();
    if (const auto* failure = std::get_if<SprayFailure>(&outcome))
        return failure->sound_is_why ? no_answer(failure->error) : refuse(failure->error);

    const auto& view = std::get<SprayAnswer>(outcome).view;
    fmt::print("{}", options.format == "json" ? verdict_json(view) : verdict_table(view));
    if (!options.plot.empty())
        if (const auto drawn = draw_verdict(view, options.plot); !drawn) return refuse(drawn.error());
    return close_output(kExitDone);
}

void add_spray(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<SprayOptions>();
    auto* command = app.add_subcommand("spray", "Which spots leak: a verdict per spot from a recorded spray test");
    add_sound_options(*command, options->sound);
    add_engine_options(*command, options->engine);
    command->add_option("--map", options->map, "Map file (JSON): names and places of the spots");
    command->add_option("--marks", options->marks, "Marks (CSV): time_s,spot, one row a burst");
    command->add_flag("--found", options->found, "Find the bursts by the can's hiss instead of marks");
    command->add_option("--order", options->order, "With --found: the spot of each burst, in order, as in 3,7,1")
        ->delimiter(',');
    command
        ->add_option("--matters-rpm", options->matters_rpm,
                     "The change of speed that matters; \"none seen\" excludes it")
        ->check(CLI::Range(1.0, 200.0))
        ->capture_default_str();
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->add_option("--plot", options->plot, "Also draw the verdict into this .png or .svg file");
    command->footer(
        "Verdicts: leak, overspray (a neighbour's leak got the spray), none seen (a change that matters is excluded),\n"
        "undecided. All at 5 % family-wise error over the whole session.\n"
        "Example: idlehark spray bay.flac --engine engine.json --map map.json --marks marks.csv --plot verdict.png");
    command->callback([options, &chosen] { chosen = [options] { return spray(*options); }; });
}

}  // namespace idlehark
