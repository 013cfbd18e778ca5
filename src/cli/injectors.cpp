#include "src/analysis/injector_session.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"
#include "src/report/injector_picture.hpp"
#include "src/report/page.hpp"

#include <cmath>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct InjectorOptions {
    std::vector<std::string> recordings;
    int channel = 1;
    EngineOptions engine;
    std::string format = "text";
    std::string plot;
};

/// "3=probe3.wav" in two.
Result<std::pair<int, std::string>> recording_of(const std::string& text) {
    const auto equals = text.find('=');
    const auto cylinder = equals == std::string::npos ? std::nullopt : parse_number(text.substr(0, equals));
    if (!cylinder || std::floor(*cylinder) != *cylinder || std::fabs(*cylinder) > 1000.0 || equals + 1 == text.size())
        return Error{"\"" + text + "\" is not CYLINDER=FILE",
                     "One recording an injector, as in 1=probe1.wav 2=probe2.wav"};
    return std::pair{static_cast<int>(*cylinder), text.substr(equals + 1)};
}

int injectors(const InjectorOptions& options) {
    const auto engine = resolve(options.engine);
    if (!engine) return refuse(engine.error());
    if (!options.plot.empty())
        if (const auto named = check_picture_name(options.plot); !named) return refuse(named.error());
    InjectorRequest request;
    request.engine = engine.value();
    request.channel = options.channel;
    for (const auto& text : options.recordings) {
        auto recording = recording_of(text);
        if (!recording) return refuse(recording.error());
        request.recordings.push_back(std::move(recording.value()));
    }
    Progress progress{"listening"};
    const auto outcome =
        judge_injectors(request, [&](std::size_t done) { progress.at(done, request.recordings.size()); });
    progress.end();
    if (const auto* failure = std::get_if<InjectorFailure>(&outcome))
        return failure->sound_is_why ? no_answer(failure->error) : refuse(failure->error);
    const auto& view = std::get<InjectorView>(outcome);
    fmt::print("{}", options.format == "json" ? injector_json(view) : injector_table(view));
    if (!options.plot.empty())
        if (const auto drawn = draw_injectors(view, options.plot); !drawn) return refuse(drawn.error());
    return close_output(kExitDone);
}

}  // namespace

void add_injectors(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<InjectorOptions>();
    auto* command = app.add_subcommand("injectors", "Does every injector click, regularly and like the others?");
    command
        ->add_option("CYLINDER=FILE", options->recordings,
                     "A recording with the probe on the body of that cylinder's injector, 10 to 15 s at idle")
        ->required();
    command->add_option("--channel", options->channel, "Which channel of the recordings to listen to, from 1")
        ->capture_default_str();
    add_engine_options(*command, options->engine);
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->add_option("--plot", options->plot,
                        "Also draw the clicks, folded on the crank, into this .png or .svg file");
    command->footer(
        "Keep hands, leads and the probe clear of belts, fans and hot parts.\n"
        "Verdicts: regular, missing clicks, silent, differs (level, opening time or evenness unlike the set).\n"
        "Example: idlehark injectors --engine engine.json 1=p1.wav 2=p2.wav 3=p3.wav 4=p4.wav");
    command->callback([options, &chosen] { chosen = [options] { return injectors(*options); }; });
}

}  // namespace idlehark
