#pragma once

#include "src/files/engine_file.hpp"
#include "src/result.hpp"

#include <functional>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include <CLI/CLI.hpp>

namespace idlehark {

/// What the command line asked for; its result is the exit code.
using Command = std::function<int()>;

// One function a command, each in its own file: adds the subcommand, and sets `chosen` when it is the one asked for.
void add_idle(CLI::App& app, Command& chosen);
void add_bursts(CLI::App& app, Command& chosen);
void add_spray(CLI::App& app, Command& chosen);
void add_practice(CLI::App& app, Command& chosen);
void add_injectors(CLI::App& app, Command& chosen);
void add_plan(CLI::App& app, Command& chosen);
void add_demo(CLI::App& app, Command& chosen);
void add_hiss(CLI::App& app, Command& chosen);
void add_balance(CLI::App& app, Command& chosen);
void add_compare(CLI::App& app, Command& chosen);
void add_report(CLI::App& app, Command& chosen);
void add_devices(CLI::App& app, Command& chosen);
void add_record(CLI::App& app, Command& chosen);
void add_listen(CLI::App& app, Command& chosen);
void add_case(CLI::App& app, Command& chosen);

/// The sound file and its channel: the same words in every command.
struct SoundOptions {
    std::string path;
    int channel = 1;
};
void add_sound_options(CLI::App& command, SoundOptions& options);

/// The engine file, and the options that replace parts of it or stand in for it.
struct EngineOptions {
    std::string path;
    std::optional<int> cylinders;
    std::optional<int> strokes;
    std::string idle_rpm;  ///< "LO:HI"
};
void add_engine_options(CLI::App& command, EngineOptions& options);

/// Errors: the first of these options that the user gave, which here would change nothing, and `why`.
Result<Done> none_given(const CLI::App& command, std::initializer_list<const char*> names, std::string_view why);

/// The engine that the options describe, checked; warnings of the file are printed.
Result<Engine> resolve(const EngineOptions& options);

}  // namespace idlehark
