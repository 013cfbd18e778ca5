#include "src/cli/live_run.hpp"

#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"
#include "src/files/last_choice.hpp"
#include "src/files/local_time.hpp"
#include "src/files/text_file.hpp"
#include "src/live/level_meter.hpp"
#include "src/live/listen_view.hpp"
#include "src/live/live_session.hpp"
#include "src/live/prompt_schedule.hpp"
#include "src/live/terminal.hpp"
#include "src/recording/marks_journal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <vector>

#include <fmt/format.h>

namespace idlehark {

namespace {

using Clock = std::chrono::steady_clock;
constexpr auto kDrawEvery = std::chrono::milliseconds{100};
constexpr auto kLook = std::chrono::milliseconds{40};
constexpr double kLevelCheck_s = 2.0;
constexpr std::size_t kLongestSpot = 16;

class LiveRun {
   public:
    LiveRun(const LiveOptions& options, LiveSource& source, int microphone_channel, std::optional<Recorder> recorder)
        : options_(options),
          source_(source),
          recorder_(std::move(recorder)),
          marks_(recorder_ ? recorder_->names().marks : "") {
        view_.device = source.name();
        view_.measuring = options.engine.has_value();
        view_.microphone_channel = microphone_channel;
        view_.recording = recorder_ ? file_name(recorder_->names().sound) : "";
        LiveSessionConfig config{
            .sample_rate_hz = source.sample_rate_hz(), .microphone_channel = microphone_channel, .tracker = {}};
        if (options.engine)
            config.tracker = IdleTrackerConfig{
                .sample_rate_hz = source.sample_rate_hz(), .engine = *options.engine, .hop_s = options.hop_s};
        session_.emplace(source.capture(), config, recorder_ ? &*recorder_ : nullptr);
        unicode_ = speaks_utf8();
        if (options.prompts == PromptStyle::off) return;
        auto output = source.open_output();
        if (output)
            output_.emplace(std::move(output.value()));
        else
            warn("no prompts: " + output.error().what);
    }

    int run(const StopSignals& signals) {
        if (!options_.json) terminal_ = Terminal::open();
        source_.start();
        std::optional<Error> fault;
        std::string why = "stopped";
        auto draw_at = Clock::now();
        for (bool go_on = true; go_on;) {
            take(session_->look(kLook));
            prompt();
            if (news_fault_) fault = news_fault_;
            if (!fault) fault = source_.broken();
            if (fault) why = fault->what;
            go_on = !fault && !signals.asked() && !source_.at_end() && !(terminal_ && !use_keys()) &&
                    !(options_.seconds > 0.0 && heard_s_ >= options_.seconds) && !output_failed_;
            if (go_on && Clock::now() >= draw_at) {
                draw();
                draw_at = std::max(draw_at + kDrawEvery, Clock::now());
            }
        }
        source_.stop();
        take(session_->finish());
        if (!fault && news_fault_) {  // in what was still waiting to be written
            fault = news_fault_;
            why = fault->what;
        }
        terminal_.reset();
        if (recorder_) {
            const auto closed = recorder_->finish(why);
            if (!closed && !fault) fault = closed.error();
            report_recording();
        }
        if (fault) return refuse(*fault);
        if (view_.measuring && locked_ == 0)
            return no_answer(Error{fmt::format("no idle speed could be followed in {:.0f} s of sound", heard_s_),
                                   "Check cylinders, strokes and idle range; hold the microphone nearer to the "
                                   "engine, away from fans."});
        return close_output(kExitDone);
    }

   private:
    void take(const LiveNews& news) {
        heard_s_ = static_cast<double>(news.frames) / source_.sample_rate_hz();
        view_.heard_s = heard_s_;
        view_.losses = news.losses;
        view_.clipped_samples = news.clipped_samples;
        news_fault_ = news.fault;
        for (std::size_t c = 0; c < peak_.size(); ++c) peak_[c] = std::max(peak_[c], news.peak[c]);
        for (const auto& r : news.readings) {
            view_.add(r);
            if (r.reading.locked) ++locked_;
            schedule_.reading(r.reading.time_s, r.reading.locked);
            if (options_.json) print_json(r);
        }
        for (const auto& b : news.bursts) {
            if (options_.json)
                print("{{\"type\":\"hiss\",\"time_s\":{},\"duration_s\":{}}}\n", b.time_s, b.duration_s);
            else
                view_.message = fmt::format("a spray can hissed at {:.1f} s", b.time_s);
        }
        if (options_.json && !(news.losses == told_losses_)) {
            told_losses_ = news.losses;
            print("{{\"type\":\"lost\",\"device_gaps\":{},\"dropped_frames\":{}}}\n", news.losses.device_gaps,
                  news.losses.dropped_frames);
        }
        if (options_.json && std::fflush(stdout) != 0) output_failed_ = true;
    }

    /// Numbers in the shortest form that reads back to the same value.
    void print_json(const LiveReading& r) {
        const auto& x = r.reading;
        if (x.locked)
            print(
                "{{\"type\":\"reading\",\"time_s\":{},\"rpm\":{},\"low_rpm\":{},\"high_rpm\":{},"
                "\"locked\":true,\"near_gap\":{}}}\n",
                x.time_s, x.rpm, x.rpm_low, x.rpm_high, r.near_gap);
        else
            print(
                "{{\"type\":\"reading\",\"time_s\":{},\"rpm\":null,\"low_rpm\":null,\"high_rpm\":null,"
                "\"locked\":false,\"near_gap\":{}}}\n",
                x.time_s, r.near_gap);
    }

    /// False when a key asks for the end.
    bool use_keys() {
        const auto keys = terminal_->keys();
        if (terminal_->gone()) return false;
        for (const char key : keys) {
            if (key == 'q' || key == 'Q') return false;
            const bool digit = key >= '0' && key <= '9';
            if (digit && recorder_) {
                if (std::exchange(spot_used_, false)) view_.spot.clear();
                if (view_.spot.size() < kLongestSpot) view_.spot += key;
            } else if ((key == 127 || key == '\b') && !view_.spot.empty()) {
                view_.spot.pop_back();
            } else if ((key == ' ' || key == '\n' || key == '\r') && recorder_) {
                mark();
            }
        }
        return true;
    }

    /// The newest sound in the recording was in the air `latency_s` before it got here.
    void mark() {
        if (view_.spot.empty()) {
            view_.message = "type the spot's number first";
            return;
        }
        const double time_s = heard_s_ + source_.latency_s();
        const auto noted = marks_.mark(time_s, view_.spot);
        view_.message = noted ? "" : noted.error().what;
        if (noted) view_.marks.push_back(fmt::format("{:.1f} s  spot {}", time_s, view_.spot));
        spot_used_ = true;
        schedule_.mark(time_s, view_.spot);
        if (output_) output_->hush();
    }

    void prompt() {
        if (!output_ || output_->playing()) return;
        const auto due = schedule_.due(heard_s_);
        if (!due) return;
        const double rate_hz = output_->sample_rate_hz();
        output_->play(options_.prompts == PromptStyle::spoken ? speak(due->text, rate_hz)
                                                              : beep(rate_hz, due->asks_for_spray));
    }

    /// An output that fails ends the recording in order; it must not unwind it.
    template <class... Args>
    void print(fmt::format_string<Args...> text, Args&&... args) {
        const auto line = fmt::format(text, std::forward<Args>(args)...);
        if (std::fwrite(line.data(), 1, line.size(), stdout) != line.size()) output_failed_ = true;
    }

    void draw() {
        view_.peaks_dbfs.clear();
        for (int c = 0; c < source_.capture().channels(); ++c) {
            auto& peak = peak_[static_cast<std::size_t>(c)];
            view_.peaks_dbfs.push_back(peak > 0.0F ? 20.0 * std::log10(static_cast<double>(peak)) : -99.0);
            peak = 0.0F;
        }
        if (terminal_) {
            terminal_->show(lay_out(view_, terminal_->size(), unicode_));
        } else if (!options_.json && heard_s_ >= plain_due_s_) {
            plain_due_s_ = std::floor(heard_s_) + 1.0;
            print("{:.0f} s  {}\n", heard_s_, lay_out(view_, {.columns = 78, .rows = 1}, false).front());
            if (std::fflush(stdout) != 0) output_failed_ = true;
        }
    }

    void report_recording() const {
        std::fflush(stdout);
        fmt::print(stderr, "{}: {:.1f} s", recorder_->names().sound,
                   static_cast<double>(recorder_->frames()) / source_.sample_rate_hz());
        if (view_.losses.device_gaps + view_.losses.dropped_frames > 0)
            fmt::print(stderr, "; sound was lost {} times ({} frames dropped here), see {}", view_.losses.device_gaps,
                       view_.losses.dropped_frames, recorder_->names().events);
        if (!view_.marks.empty()) fmt::print(stderr, "; {} marks in {}", view_.marks.size(), recorder_->names().marks);
        fmt::print(stderr, "\n");
    }

    const LiveOptions& options_;
    LiveSource& source_;
    std::optional<Recorder> recorder_;
    MarksJournal marks_;
    ListenView view_;
    std::optional<LiveSession> session_;
    PromptSchedule schedule_;
    std::optional<OutputStream> output_;
    std::unique_ptr<Terminal> terminal_;
    std::array<float, kMostCaptureChannels> peak_{};
    std::optional<Error> news_fault_;
    CaptureLosses told_losses_;
    double heard_s_ = 0.0;
    double plain_due_s_ = 0.0;
    std::uint64_t locked_ = 0;
    bool spot_used_ = false;
    bool output_failed_ = false;
    bool unicode_ = false;
};

}  // namespace

Result<LiveSource> open_source(const LiveOptions& options) {
    if (!options.from.empty()) return LiveSource::file(options.from, options.from_channel, options.pace.value_or(0.0));
    auto wanted = options.device;
    if (wanted.empty()) {
        wanted = last_device();
        if (!wanted.empty()) {
            auto source = LiveSource::device(wanted, options.sample_rate_hz, options.channels);
            if (source) return source;
            warn(fmt::format("{}, chosen last time, cannot be used now; taking the system's default", wanted));
        }
        wanted.clear();
    }
    return LiveSource::device(wanted, options.sample_rate_hz, options.channels);
}

int check_levels(LiveSource& source, const StopSignals& signals, int microphone_channel,
                 const std::function<void(const std::string&)>& say) {
    auto& capture = source.capture();
    const auto channels = static_cast<std::size_t>(capture.channels());
    std::vector<std::vector<float>> heard(channels);
    const auto enough = static_cast<std::size_t>(kLevelCheck_s * source.sample_rate_hz());
    const auto give_up = Clock::now() + std::chrono::seconds{4};
    while (heard[0].size() < enough && Clock::now() < give_up && !signals.asked()) {
        const Block* block = capture.oldest();
        if (!block) {
            std::this_thread::sleep_for(std::chrono::milliseconds{5});
            continue;
        }
        for (std::size_t i = 0; i < block->frames * channels; ++i) heard[i % channels].push_back(block->samples[i]);
        capture.release();
    }
    if (heard[0].size() < enough) return std::max(microphone_channel, 1);  // the run itself will say why
    if (microphone_channel == 0) {
        microphone_channel = 1;
        if (channels == 2) {
            const auto told = tell_microphone(heard[0], heard[1]);
            if (told) {
                microphone_channel = *told + 1;
                say(fmt::format("channel {} sounds like the microphone, channel {} like a pick-up", microphone_channel,
                                3 - microphone_channel));
            }
        }
    }
    const auto level = measure_level(heard[static_cast<std::size_t>(microphone_channel - 1)], source.sample_rate_hz());
    if (const auto complaint = level_complaint(level)) say("the microphone is " + *complaint);
    return microphone_channel;
}

void add_device_options(CLI::App& command, LiveOptions& options) {
    command.add_option("--device", options.device,
                       "Number or part of the name, as `idlehark devices` lists them; default: the one chosen last");
    command.add_option("--rate", options.sample_rate_hz, "Sample rate in Hz; default: the device's own")
        ->check(CLI::Range(8000.0, 192000.0));
    command.add_option("--channels", options.channels, "1 or 2; default: 2 if the device has them")
        ->check(CLI::Range(1, 2));
    command
        .add_option("--microphone", options.microphone_channel,
                    "Which channel is the microphone, 1 or 2; default: found by ear")
        ->check(CLI::Range(1, 2));
    command.add_option("--seconds", options.seconds, "Stop after this time; default: until q or Ctrl-C")
        ->check(CLI::PositiveNumber);
    command.add_flag("!--no-check", options.check_level, "Skip the two seconds of level check at the start");
}

RecordingSettings recording_settings(LiveSource& source, int microphone_channel) {
    RecordingSettings settings;
    settings.device = source.name();
    settings.sample_rate_hz = source.sample_rate_hz();
    settings.channels = source.capture().channels();
    settings.microphone_channel = microphone_channel;
    settings.started_at = now_text_with_zone();
    return settings;
}

int run_live(const LiveOptions& options) {
    const StopSignals signals;
    auto record_path = options.record_path;
    std::string continues;
    if (options.resume && is_there(record_path)) {
        continues = file_name(record_path);
        record_path = next_part(record_path);
    }
    auto opened = open_source(options);
    if (!opened) return refuse(opened.error());
    auto& source = opened.value();
    if (!options.device.empty()) remember_device(source.name());
    const int channels = source.capture().channels();
    if (options.microphone_channel > channels)
        return refuse(
            {fmt::format("--microphone {}: {} has {} channel", options.microphone_channel, source.name(), channels),
             ""});
    int microphone = std::max(options.microphone_channel, 1);
    if (source.is_device() && options.check_level)
        microphone = check_levels(source, signals, options.microphone_channel, [](const auto& text) { warn(text); });

    std::optional<Recorder> recorder;
    if (!record_path.empty()) {
        auto settings = recording_settings(source, microphone);
        settings.continues = continues;
        auto created = Recorder::create(record_path, settings);
        if (!created) return refuse(created.error());
        recorder.emplace(std::move(created.value()));
    }
    try {
        LiveRun run{options, source, microphone, std::move(recorder)};
        return run.run(signals);
    } catch (const std::invalid_argument& wrong) {
        return refuse({wrong.what(), ""});
    }
}

}  // namespace idlehark
