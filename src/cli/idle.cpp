#include "src/analysis/listen.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"

#include <cstdio>
#include <iterator>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr std::size_t kFlushAt_bytes = 1U << 16U;

struct IdleOptions {
    SoundOptions sound;
    EngineOptions engine;
    double hop_s = 0.1;
};

void append_row(fmt::memory_buffer& text, const RpmReading& r) {
    if (r.locked)
        fmt::format_to(std::back_inserter(text), "{:.3f},{:.3f},{:.3f},{:.3f},1\n", r.time_s, r.rpm, r.rpm_low,
                       r.rpm_high);
    else
        fmt::format_to(std::back_inserter(text), "{:.3f},,,,0\n", r.time_s);
}

int idle(const IdleOptions& options) {
    const auto engine = resolve(options.engine);
    if (!engine) return refuse(engine.error());
    const ListenRequest request{options.sound.path, options.sound.channel, engine.value(), options.hop_s};

    fmt::memory_buffer text;
    const auto flush = [&text] {
        std::fwrite(text.data(), 1, text.size(), stdout);
        text.clear();
    };
    Progress progress{"listening"};
    bool header = false;
    const auto rows = [&](std::span<const RpmReading> readings) {
        if (!std::exchange(header, true)) text.append(std::string_view{"time_s,rpm,rpm_low,rpm_high,locked\n"});
        for (const auto& r : readings) append_row(text, r);
        if (text.size() >= kFlushAt_bytes) flush();
    };
    const auto show = [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); };
    const auto heard = listen_through(request, {.readings = rows, .start = {}, .sound = {}, .progress = show});
    progress.end();
    if (!heard) return refuse(heard.error());
    flush();
    for (const auto& warning : heard.value().warnings) warn(warning);
    const auto reason = why_no_lock(heard.value(), request);
    return close_output(reason ? no_answer(*reason) : kExitDone);
}

}  // namespace

void add_idle(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<IdleOptions>();
    auto* command = app.add_subcommand("idle", "Idle speed over time, as CSV");
    add_sound_options(*command, options->sound);
    add_engine_options(*command, options->engine);
    command->add_option("--hop", options->hop_s, "Seconds from one reading to the next, 0.02 to 2")
        ->check(CLI::Range(0.02, 2.0))
        ->capture_default_str();
    command->footer(
        "Columns: time_s, rpm, rpm_low and rpm_high (95 % interval for the speed at that moment), locked.\n"
        "locked is 0, and rpm empty, where the sound does not support a number.\n"
        "Example: idlehark idle idle.wav --cylinders 4 --idle-rpm 700:950 > idle.csv");
    command->callback([options, &chosen] { chosen = [options] { return idle(*options); }; });
}

}  // namespace idlehark
