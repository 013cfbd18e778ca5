#include "src/cli/messages.hpp"
#include "src/cli/spray.hpp"
#include "src/files/json_text.hpp"
#include "src/files/user_folders.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct DemoOptions {
    std::string folder = recordings_folder().string();
    std::string plot = "verdict.png";
};

/// "3 (plenum gasket, +27 rpm)" for each leak that the simulator hid.
Result<std::string> hidden_leaks(const std::string& path) {
    const auto truth = read_json_object(path);
    if (!truth) return truth.error();
    std::string text;
    try {
        for (const auto& leak : truth.value().at("leaks"))
            text += fmt::format("{}{} ({}, {:+.0f} rpm)", text.empty() ? "" : ", ", leak.at("spot").get<std::string>(),
                                leak.at("name").get<std::string>(), leak.at("change_rpm").get<double>());
    } catch (const Json::exception&) {
        return Error{path + ": is not a truth file", ""};
    }
    return text;
}

int demo(const DemoOptions& options) {
    SprayOptions run;
    run.sound.path = options.folder + "/bay.ogg";
    run.engine.path = options.folder + "/engine.json";
    run.map = options.folder + "/map.json";
    run.marks = options.folder + "/marks.csv";
    run.plot = options.plot;
    const auto truth = hidden_leaks(options.folder + "/truth.json");
    if (!truth) return refuse(truth.error());

    fmt::print("A spray test on a simulated bay: one recording, three bursts of spray on each of twelve spots.\n\n");
    const int code = spray(run);
    if (code != kExitDone) return code;
    fmt::print("\nHidden in this bay by the simulator: {}\nPicture: {}\n", truth.value(), options.plot);
    return close_output(kExitDone);
}

}  // namespace

void add_demo(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<DemoOptions>();
    auto* command =
        app.add_subcommand("demo", "The spray test on the bundled recording, with a picture of the verdict");
    command->add_option("--recordings", options->folder, "Folder of the bundled recording");
    command->add_option("--plot", options->plot, "Where the picture goes, .png or .svg")->capture_default_str();
    command->footer("Example: idlehark demo");
    command->callback([options, &chosen] { chosen = [options] { return demo(*options); }; });
}

}  // namespace idlehark
