#pragma once

#include "src/cli/command.hpp"
#include "src/live/live_source.hpp"
#include "src/live/stop_signals.hpp"
#include "src/live/voice.hpp"
#include "src/recording/recorder.hpp"

#include <functional>
#include <optional>
#include <string>

namespace idlehark {

/// What `record` and `listen` share.
struct LiveOptions {
    std::string device;  ///< empty: the one chosen last, else the system's default
    double sample_rate_hz = 0.0;
    int channels = 0;
    int microphone_channel = 0;  ///< 0: find out
    double seconds = 0.0;        ///< 0: until stopped
    bool check_level = true;

    std::string record_path;  ///< empty: nothing is recorded
    bool resume = false;

    std::optional<Engine> engine;  ///< measured only if there is one
    double hop_s = 0.1;
    bool json = false;
    std::string from;  ///< a recording in place of a device
    int from_channel = 1;
    std::optional<double> pace;
    PromptStyle prompts = PromptStyle::off;
};
void add_device_options(CLI::App& command, LiveOptions& options);

/// The file to be played, the device asked for, or the one chosen last.
Result<LiveSource> open_source(const LiveOptions& options);

/// Listens to a device for two seconds, says what is wrong with the levels, and finds the microphone's channel (unless
/// it is given, not 0).
int check_levels(LiveSource& source, const StopSignals& signals, int microphone_channel,
                 const std::function<void(const std::string&)>& say);

/// What a recording of this source, begun now, says of itself.
RecordingSettings recording_settings(LiveSource& source, int microphone_channel);

/// Opens, checks, records, measures, shows until told to stop; the exit code.
int run_live(const LiveOptions& options);

}  // namespace idlehark
