#include "src/cli/command.hpp"
#include "src/cli/guide_run.hpp"
#include "src/cli/messages.hpp"
#include "src/practice/practice_bay.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

int practise(const PracticeRequest& request) {
    Progress progress{"simulating"};
    const auto written =
        write_practice(request, [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
    progress.end();
    if (!written) return refuse(written.error());
    fmt::print(
        "A practice bay, simulated: no engine, no spray. Find its leaks:\n"
        "  idlehark spray {0}/{1} --engine {0}/engine.json --map {0}/map.json --marks {0}/marks.csv\n"
        "The truth is in {0}/truth.json.\n",
        request.folder, request.sound_name);
    return close_output(kExitDone);
}

int list_engines() {
    for (const auto& e : practice_engines()) fmt::print("{:>2}  {:<16}  {}\n", e.number, e.name, e.complaint);
    fmt::print("`idlehark practice --engine N` guides through the test; the truth stays sealed until its end.\n");
    return close_output(kExitDone);
}

int choose(const CLI::App& command, const PracticeRequest& request, PracticeGuide guide, bool list) {
    if (list) return list_engines();
    if (guide.number > 0) {
        if (const auto own = none_given(
                command,
                {"--sound", "--engine-name", "--rate", "--spots", "--day", "--mended", "--only", "--disturbed"},
                "does not go with --engine, whose engines are what they are");
            !own)
            return refuse(own.error());
        guide.seed = request.seed;
        guide.folder = request.folder;
        return run_practice(guide);
    }
    if (request.folder.empty())
        return refuse({"practice: neither --out nor --engine is given",
                       "--list shows ten engines to practise on; --out FOLDER writes a bay to test by yourself."});
    return practise(request);
}

}  // namespace

void add_practice(CLI::App& app, Command& chosen) {
    auto request = std::make_shared<PracticeRequest>();
    auto* command =
        app.add_subcommand("practice", "A simulated bay with hidden leaks, to try the spray test without an engine");
    command->add_option("--seed", request->seed, "Which bay: the same number gives the same bay")
        ->capture_default_str();
    command->add_option("--out", request->folder,
                        "Folder to write into; made if it isn't there, and nothing in it is overwritten");
    auto guide = std::make_shared<PracticeGuide>();
    guide->number = 0;
    auto list = std::make_shared<bool>(false);
    command->add_flag("--list", *list, "The ten engines to practise on");
    command->add_option("--engine", guide->number, "Practise on this one, with prompts, in the terminal")
        ->check(CLI::Range(1, kPracticeEngines));
    command->add_flag("--auto", guide->automatic, "Simulated hands follow the prompts: watch a whole visit at once");
    command->add_option("--pace", guide->pace, "How much faster than life, 0.5 to 20")
        ->check(CLI::Range(0.5, 20.0))
        ->capture_default_str();
    command->add_option("--sound", request->sound_name, "Name of the recording; .flac, .wav or .ogg")
        ->capture_default_str();
    command->add_option("--engine-name", request->engine_name, "Name of the simulated engine");
    command->add_option("--rate", request->sample_rate_hz, "Sample rate in Hz, 8000 to 192000")
        ->check(CLI::Range(8000.0, 192000.0))
        ->capture_default_str();
    command->add_option("--spots", request->spots, "Number of spots, 3 to 40")
        ->check(CLI::Range(3, 40))
        ->capture_default_str();
    command->add_option("--day", request->day, "Another day at the same bay: other unrest and noise")
        ->check(CLI::Range(1, 1'000'000))
        ->capture_default_str();
    command->add_option("--mended", request->mended, "Spots that do not leak any more, as in 8,11")->delimiter(',');
    command->add_option("--only", request->only, "Test these spots only, as in 8,11,12")->delimiter(',');
    command->add_flag("--disturbed", request->disturbed, "With a fan, load steps, unsteady hands, spray on neighbours");
    command->footer("Example: idlehark practice --seed 7 --out practice-7\nExample: idlehark practice --engine 2");
    command->callback([command, request, guide, list, &chosen] {
        chosen = [command, request, guide, list] { return choose(*command, *request, *guide, *list); };
    });
}

}  // namespace idlehark
