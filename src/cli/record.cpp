#include "src/cli/live_run.hpp"

#include <memory>

namespace idlehark {

void add_record(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<LiveOptions>();
    auto* command = app.add_subcommand("record", "Record from a microphone; nothing recorded gets lost");
    command->add_option("OUT", options->record_path, "The recording: .flac or .wav; nothing is overwritten")
        ->required();
    add_device_options(*command, *options);
    command->add_flag("--resume", options->resume, "If OUT is there already, go on in a new part: OUT-part2");
    command->footer(
        "Beside bay.flac: bay.marks.csv (marks set by key), bay.events.csv (start, lost sound, end) and\n"
        "bay.settings.json. Keys: digits choose a spot, Enter or space marks a burst there now, q ends.\n"
        "Example: idlehark record bay.flac --device usb");
    command->callback([options, &chosen] { chosen = [options] { return run_live(*options); }; });
}

}  // namespace idlehark
