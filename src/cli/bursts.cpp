#include "src/analysis/between_gaps.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/recording/sound_file.hpp"

#include <cmath>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

int bursts(const SoundOptions& options) {
    auto file = SoundFile::open(options.path, options.channel);
    if (!file) return refuse(file.error());
    auto& sound = file.value();
    GapHissFinder finder{sound.info().sample_rate_hz};
    GapCutter cutter{options.path};
    Progress progress{"listening"};
    bool silent = true;
    for (AudioView block = sound.read(); !block.empty(); block = sound.read()) {
        for (const float x : block) silent = silent && !(std::fabs(x) > 0.0F);
        cutter.cut(
            block, [&](AudioView part) { finder.process(part); }, [&](std::uint64_t) { finder.gap(); });
        progress.at(sound.frames_read(), sound.info().frames);
    }
    progress.end();
    finder.finish();
    if (sound.warning()) warn(*sound.warning());
    if (sound.frames_read() == 0) return refuse({options.path + ": contains no sound", ""});

    fmt::print("time_s,duration_s\n");
    for (const auto& b : finder.bursts()) fmt::print("{:.3f},{:.3f}\n", b.time_s, b.duration_s);
    if (silent)
        return close_output(no_answer({options.path + ": is silent", "Was the microphone plugged in and not muted?"}));
    if (finder.bursts().empty()) warn(options.path + ": no burst of spray hiss is heard");
    return close_output(kExitDone);
}

}  // namespace

void add_bursts(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<SoundOptions>();
    auto* command = app.add_subcommand("bursts", "When the spray can hissed, as CSV");
    add_sound_options(*command, *options);
    command->footer("Columns: time_s (start of the hiss), duration_s.\nExample: idlehark bursts bay.flac > bursts.csv");
    command->callback([options, &chosen] { chosen = [options] { return bursts(*options); }; });
}

}  // namespace idlehark
