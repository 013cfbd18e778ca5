#include "src/cli/command.hpp"

#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"

#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

void add_sound_options(CLI::App& command, SoundOptions& options) {
    command
        .add_option("FILE", options.path,
                    "The recording, 8 to 192 kHz: WAV, FLAC, OGG, MP3, AIFF, or a telephone's m4a, 3gp, amr, mp4, webm")
        ->required();
    command.add_option("--channel", options.channel, "Which channel of the recording to listen to, from 1")
        ->capture_default_str();
}

void add_engine_options(CLI::App& command, EngineOptions& options) {
    command.add_option("--engine", options.path, "Engine file (JSON)");
    command.add_option("--cylinders", options.cylinders, "Number of cylinders, 1 to 12, instead of the engine file's");
    command.add_option("--strokes", options.strokes, "4 or 2, instead of the engine file's");
    command.add_option("--idle-rpm", options.idle_rpm, "Idle range as LOW:HIGH, instead of the engine file's");
}

Result<Done> none_given(const CLI::App& command, std::initializer_list<const char*> names, std::string_view why) {
    for (const auto* name : names)
        if (command.count(name) > 0) return Error{fmt::format("{}: {}", name, why), ""};
    return Done{};
}

Result<Engine> resolve(const EngineOptions& options) {
    Engine engine;
    if (!options.path.empty()) {
        auto file = read_engine(options.path);
        if (!file) return file.error();
        for (const auto& text : file.value().warnings) warn(text);
        engine = std::move(file.value().engine);
    } else if (!options.cylinders || options.idle_rpm.empty()) {
        return Error{options.cylinders           ? "which idle? --cylinders is given, but no idle range"
                     : !options.idle_rpm.empty() ? "how many cylinders? --idle-rpm is given, but not their number"
                                                 : "which engine? Neither an engine file nor cylinders and idle range "
                                                   "are given",
                     "Give --engine FILE, or --cylinders N --idle-rpm LOW:HIGH (and --strokes 2 for a two-stroke)."};
    }
    if ((options.cylinders && *options.cylinders != engine.cylinders) ||
        (options.strokes && *options.strokes != engine.strokes)) {
        // What the file says about single cylinders belongs to another engine then.
        engine.firing_order.clear();
        engine.firing_angles_deg.clear();
        engine.injection_groups.clear();
    }
    engine.cylinders = options.cylinders.value_or(engine.cylinders);
    engine.strokes = options.strokes.value_or(engine.strokes);
    if (!options.idle_rpm.empty()) {
        const auto colon = options.idle_rpm.find(':');
        const auto low = parse_number(options.idle_rpm.substr(0, colon));
        const auto high = colon == std::string::npos ? std::nullopt : parse_number(options.idle_rpm.substr(colon + 1));
        if (!low || !high) return Error{"--idle-rpm: \"" + options.idle_rpm + "\" is not LOW:HIGH, as in 700:950", ""};
        engine.idle_low_rpm = *low;
        engine.idle_high_rpm = *high;
    }
    try {
        check(engine);
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), ""};
    }
    return engine;
}

}  // namespace idlehark
