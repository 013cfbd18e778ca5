#include "src/analysis/hiss_check.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"
#include "src/report/hiss_picture.hpp"
#include "src/report/page.hpp"

#include <algorithm>
#include <cmath>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct HissOptions {
    std::vector<std::string> recordings;
    int channel = 1;
    EngineOptions engine;
    std::string gain = "lines";
    std::vector<std::string> gains;
    std::string format = "text";
    std::string plot;
};

/// "3=a.wav" in two; nothing if one half is missing.
std::optional<std::pair<std::string, std::string>> halves(const std::string& text) {
    const auto equals = text.find('=');
    if (equals == std::string::npos || equals == 0 || equals + 1 == text.size()) return {};
    return std::pair{text.substr(0, equals), text.substr(equals + 1)};
}

Result<HissRequest> request_of(const HissOptions& options) {
    auto engine = resolve(options.engine);
    if (!engine) return engine.error();
    HissRequest request;
    request.engine = engine.value();
    request.channel = options.channel;
    request.declared = options.gain == "declared" || !options.gains.empty();
    for (const auto& text : options.recordings) {
        const auto pair = halves(text);
        if (!pair) return Error{"\"" + text + "\" is not SPOT=FILE", "One recording a spot, as in 3=a.wav 7=b.wav"};
        for (const auto& r : request.recordings)
            if (r.spot == pair->first) return Error{"spot \"" + r.spot + "\" is given twice", ""};
        request.recordings.push_back({pair->first, pair->second});
    }
    for (const auto& text : options.gains) {
        const auto pair = halves(text);
        const auto db = pair ? parse_number(pair->second) : std::nullopt;
        if (!db || !(std::fabs(*db) <= 100.0))
            return Error{"--gain-db: \"" + text + "\" is not SPOT=DB with -100 to 100 dB", "As in --gain-db 7=+6"};
        const auto at = std::find_if(request.recordings.begin(), request.recordings.end(),
                                     [&](const auto& r) { return r.spot == pair->first; });
        if (at == request.recordings.end()) return Error{"--gain-db: no recording of spot \"" + pair->first + "\"", ""};
        at->gain_db = *db;
    }
    return request;
}

int hiss(const HissOptions& options) {
    const auto request = request_of(options);
    if (!request) return refuse(request.error());
    if (!options.plot.empty())
        if (const auto named = check_picture_name(options.plot); !named) return refuse(named.error());
    Progress progress{"listening"};
    const auto outcome =
        check_hiss(request.value(), [&](std::size_t done) { progress.at(done, request.value().recordings.size()); });
    progress.end();
    if (const auto* failure = std::get_if<HissFailure>(&outcome))
        return failure->sound_is_why ? no_answer(failure->error) : refuse(failure->error);
    const auto& view = std::get<HissView>(outcome);
    fmt::print("{}", options.format == "json" ? hiss_json(view) : hiss_table(view));
    if (!options.plot.empty())
        if (const auto drawn = draw_hiss(view, options.plot); !drawn) return refuse(drawn.error());
    return close_output(kExitDone);
}

}  // namespace

void add_hiss(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<HissOptions>();
    auto* command = app.add_subcommand("hiss", "Where does it hiss? A survey by probe or tube, without any spray");
    command
        ->add_option("SPOT=FILE", options->recordings, "A recording with the probe at that spot, 10 s or more of idle")
        ->required();
    command->add_option("--channel", options->channel, "Which channel of the recordings to listen to, from 1")
        ->capture_default_str();
    add_engine_options(*command, options->engine);
    command
        ->add_option("--gain", options->gain,
                     "What makes recordings comparable: lines (the engine's own) or declared (one fixed gain)")
        ->check(CLI::IsMember({"lines", "declared"}))
        ->capture_default_str();
    command->add_option("--gain-db", options->gains, "Recording gain of a spot, as in 7=+6; the others count as 0 dB")
        ->allow_extra_args(false);
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->add_option("--plot", options->plot, "Also draw the survey into this .png or .svg file");
    command->footer(
        "Keep hands, leads and the probe clear of belts, fans and hot parts.\n"
        "Verdicts: stands out (louder and swelling with the firing); loud, steady (a fan, or a choked leak);\n"
        "loud, open (louder; whether it swells is open); ordinary; undecided.\n"
        "Example: idlehark hiss --engine engine.json 3=a.wav 7=b.wav 8=c.wav 9=d.wav");
    command->callback([options, &chosen] { chosen = [options] { return hiss(*options); }; });
}

}  // namespace idlehark
