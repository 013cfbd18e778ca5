#include "src/cli/guide_run.hpp"

#include "src/cli/guide_case.hpp"
#include "src/cli/messages.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/text_file.hpp"
#include "src/live/live_session.hpp"
#include "src/live/live_source.hpp"
#include "src/live/prompt_player.hpp"
#include "src/live/stop_signals.hpp"
#include "src/practice/practice_bay.hpp"
#include "src/practice/practice_visit.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sound_file.hpp"
#include "src/visit/guide_view.hpp"
#include "src/visit/visit_marks.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <thread>
#include <utility>

#include <fmt/format.h>

namespace idlehark {

namespace {

using Clock = std::chrono::steady_clock;
constexpr auto kDrawEvery = std::chrono::milliseconds{100};
constexpr auto kLook = std::chrono::milliseconds{40};

VisitConfig visit_config(const BayMap& map) {
    VisitConfig config;
    for (const auto& s : map.spots) config.spots.push_back(s.spot);
    return config;
}

/// What both guides say and show: prompts aloud, the screen, marks on the disk.
class Face {
   public:
    Face(GuidedVisit& guided, PromptStyle prompts, Result<OutputStream> output, std::string marks_path)
        : guided_(guided), prompts_(prompts), marks_path_(std::move(marks_path)), unicode_(speaks_utf8()) {
        if (prompts_ == PromptStyle::off) return;
        if (output)
            player_.emplace(std::make_unique<OutputStream>(std::move(output.value())));
        else
            warn("no prompts: " + output.error().what);
    }

    /// To be called many times a second: a prompt waits until the one before is cut.
    void say() {
        if (!player_) return;
        const auto state = guided_.visit().state();
        if (state.prompt != std::exchange(said_, state.prompt))
            player_->say(state.spoken, prompts_, state.asks_for_spray());
        player_->pump();
    }
    void hush() {
        if (player_) player_->hush();
    }
    /// Keeps the marks file as the visit has it. The error that kept it from being written.
    std::optional<Error> keep() {
        if (marks_path_.empty()) return {};
        const auto marks = marks_of_visit(guided_.visit().record());
        const auto same = marks.marks.size() == kept_.size() &&
                          std::equal(kept_.begin(), kept_.end(), marks.marks.begin(), [](const Mark& a, const Mark& b) {
                              return a.time_s == b.time_s && a.spot == b.spot;
                          });
        if (same) return {};
        const auto written = write_marks(marks_path_, marks);
        if (!written) return written.error();
        kept_ = marks.marks;
        return {};
    }
    void show(Terminal& terminal, const GuideKeys& keys, const ListenView& sound) const {
        terminal.show(guide_lines(guided_, keys, sound, terminal.size(), unicode_));
    }

   private:
    GuidedVisit& guided_;
    PromptStyle prompts_;
    std::string marks_path_;
    bool unicode_;
    std::optional<PromptPlayer> player_;
    unsigned said_ = 0;
    std::vector<Mark> kept_;
};

void print_end(const GuidedVisit& guided) {
    fmt::print("{}\n", guided.visit().record().ended);
    if (!guided.step()) return;
    for (const auto& line : spot_table(*guided.step(), guided.settings().map)) fmt::print("{}\n", line);
    for (const auto& note : guided.step()->notes) fmt::print("note: {}\n", note);
}

/// A recording of the test: in the case, where asked for, or none.
Result<std::optional<Recorder>> begin_recording(const LiveOptions& options, LiveSource& source, int microphone,
                                                GuideCase* kept) {
    auto path = options.record_path;
    if (kept) {
        auto begun = kept->begin_recording(microphone, source.name());
        if (!begun) return begun.error();
        path = begun.value();
    }
    if (path.empty()) return std::optional<Recorder>{};
    auto created = Recorder::create(path, recording_settings(source, microphone));
    if (!created && kept) kept->withdraw_recording();
    if (!created) return created.error();
    return std::optional<Recorder>{std::move(created.value())};
}

GuidedVisit begin_visit(const VisitPlanSettings& settings, const std::string& recording, const GuideCase* kept) {
    SprayVisit visit(visit_config(settings.map), kept ? kept->record() : VisitRecord{});
    visit.begin_recording(recording, kept ? kept->offset_s() : 0.0);
    GuidedVisit guided(std::move(visit), settings, true);
    if (kept) guided.earlier(kept->earlier());
    return guided;
}

int guide_live(const LiveOptions& options, const VisitPlanSettings& settings, LiveSource& source, int microphone,
               std::unique_ptr<Terminal> terminal, std::optional<Recorder> recorder, GuideCase* kept,
               const std::string& message) {
    const StopSignals signals;
    const double offset_s = kept ? kept->offset_s() : 0.0;
    auto guided = begin_visit(settings, recorder ? file_name(recorder->names().sound) : "not recorded", kept);
    Face face(guided, options.prompts, source.open_output(), recorder && !kept ? recorder->names().marks : "");
    LiveSession session(source.capture(),
                        {.sample_rate_hz = source.sample_rate_hz(),
                         .microphone_channel = microphone,
                         .tracker = IdleTrackerConfig{.sample_rate_hz = source.sample_rate_hz(),
                                                      .engine = *options.engine,
                                                      .hop_s = options.hop_s}},
                        recorder ? &*recorder : nullptr);
    ListenView sound;
    sound.message = message;
    sound.microphone_channel = microphone;
    GuideKeys keys;
    std::optional<Error> fault;
    std::uint64_t gaps = 0;
    double heard_s = 0.0;
    const auto take = [&](const LiveNews& news) {
        heard_s = static_cast<double>(news.frames) / source.sample_rate_hz();
        if (news.gaps != gaps) guided.gap(heard_s);
        gaps = news.gaps;
        guided.time(heard_s);
        for (const auto& r : news.readings) {
            guided.reading(r);
            sound.add(r);
        }
        for (const auto& b : news.bursts) guided.hiss(b);
        sound.hear(news.peak, source.capture().channels());
        if (news.fault) fault = news.fault;
    };
    const auto keep = [&] {
        if (const auto wrong = face.keep(); wrong && !fault) fault = wrong;
        if (!kept) return;
        if (const auto done = kept->keep(guided.visit().record()); !done && !fault) fault = done.error();
    };
    source.start();
    auto draw_at = Clock::now();
    while (!fault && !signals.asked() && !source.at_end() && !keys.wants_end) {
        take(session.look(kLook));
        if (const auto broken = source.broken()) fault = broken;
        for (const char key : terminal->keys()) {
            guide_key(keys, key, guided.visit(), offset_s + heard_s + source.latency_s());
            if (!keys.sprayed.empty()) face.hush();
        }
        if (terminal->gone()) break;
        guided.pump();
        face.say();
        keep();
        if (Clock::now() >= draw_at) {
            face.show(*terminal, keys, sound);
            draw_at = Clock::now() + kDrawEvery;
        }
    }
    guided.visit().stop(fault                                ? "Stopped: " + fault->what + "."
                        : source.at_end() && !keys.wants_end ? "Stopped: the recording is at its end."
                                                             : "Stopped by you.");
    source.stop();
    take(session.finish());
    keep();
    terminal.reset();
    if (recorder) {
        const auto closed = recorder->finish(fault ? fault->what : "stopped");
        if (!closed && !fault) fault = closed.error();
        warn(fmt::format("{}: {:.1f} s{}", recorder->names().sound, heard_s,
                         kept ? "" : "; the marks are in " + recorder->names().marks));
    }
    print_end(guided);
    if (kept) {
        const auto done = kept->finish(guided.visit().record());
        if (done)
            kept->measure(settings);
        else if (!fault)
            fault = done.error();
        fmt::print("{}\n", kept->where_it_is(guided.step() && guided.step()->outcome != plan::PlanStep::Outcome::step));
    }
    if (fault) return refuse(*fault);
    return close_output(kExitDone);
}

std::string truth_text(const sim::SessionSpec& spec, const PracticeGuide& practice) {
    Json truth{{"practice", true}, {"number", practice.number}, {"seed", practice.seed}, {"leaks", Json::array()}};
    for (std::size_t s = 0; s < spec.spots.size(); ++s)
        if (spec.leak_rpm[s] != 0.0)
            truth["leaks"].push_back(
                {{"spot", spec.spots[s].id}, {"change_rpm", std::round(spec.leak_rpm[s] * 10.0) / 10.0}});
    return truth.dump(2) + "\n";
}

}  // namespace

int run_guide(const LiveOptions& options, const VisitPlanSettings& settings, GuideCase* kept) {
    auto terminal = Terminal::open();
    if (!terminal)
        return refuse({"--guide needs a terminal: the cautions are asked and answered there",
                       "`idlehark practice --engine 1 --auto` shows a guided visit without one."});
    const auto refuse_behind = [&](const Error& error) {
        terminal.reset();  // what it hides must be read
        return refuse(error);
    };
    auto source = open_source(options);
    if (!source) return refuse_behind(source.error());
    std::string message = kept ? kept->message() : "";
    int microphone = std::max(options.microphone_channel, 1);
    if (source.value().is_device() && options.check_level) {
        terminal->show({"Two seconds of listening: is the level right?"});
        const StopSignals signals;
        microphone = check_levels(source.value(), signals, options.microphone_channel,
                                  [&](const std::string& text) { message += (message.empty() ? "" : "; ") + text; });
    }
    auto recorder = begin_recording(options, source.value(), microphone, kept);
    if (!recorder) return refuse_behind(recorder.error());
    try {
        return guide_live(options, settings, source.value(), microphone, std::move(terminal),
                          std::move(recorder.value()), kept, message);
    } catch (const std::invalid_argument& wrong) {
        return refuse({wrong.what(), ""});
    }
}

int run_practice(const PracticeGuide& practice) {
    const auto& engine = practice_engines()[static_cast<std::size_t>(practice.number - 1)];
    const auto spec = practice_engine(practice.number, practice.seed);
    if (!practice.folder.empty())
        if (const auto free =
                check_free(practice.folder, {"engine.json", "map.json", "bay.flac", "marks.csv", "truth.json"});
            !free)
            return refuse(free.error());
    std::unique_ptr<Terminal> terminal;
    if (!practice.automatic && !(terminal = Terminal::open()))
        return refuse({"practice with prompts needs a terminal", "--auto lets simulated hands follow the prompts."});
    const StopSignals signals;
    PracticeVisit practised(spec, {}, !practice.automatic);
    auto& visit = practised.guided().visit();

    std::optional<SoundWriter> writer;
    const auto in_folder = [&](const char* name) { return (std::filesystem::path{practice.folder} / name).string(); };
    if (!practice.folder.empty()) {
        std::error_code code;
        std::filesystem::create_directories(practice.folder, code);
        if (code) return refuse({fmt::format("{}: cannot be made ({})", practice.folder, code.message()), ""});
        for (const auto& written : {write_engine(in_folder("engine.json"), spec.engine.engine),
                                    write_map(in_folder("map.json"), practised.guided().settings().map)})
            if (!written) return refuse(written.error());
        auto opened = SoundWriter::open(in_folder("bay.flac"), spec.engine.sample_rate_hz);
        if (!opened) return refuse(opened.error());
        writer.emplace(std::move(opened.value()));
    }
    std::optional<Error> fault;
    const auto tap = [&](AudioView x) {
        if (!writer) return;
        if (const auto written = writer->write(x); !written && !fault) fault = written.error();
    };
    Face face(practised.guided(), PromptStyle::off, Error{"practice is silent", ""},
              practice.folder.empty() ? "" : in_folder("marks.csv"));
    GuideKeys keys;
    ListenView sound;
    const auto over = [&] {
        const auto stage = visit.state().stage;
        return fault || signals.asked() || keys.wants_end || stage == VisitStage::done ||
               stage == VisitStage::stopped || practised.now_s() >= PracticeVisit::kLongest_s;
    };
    if (practice.automatic) {
        fmt::print("{}: \"{}\"\nSimulated hands, no engine, no fuel: the cautions are taken as answered.\n",
                   engine.name, engine.complaint);
        for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
        practised.follow_prompts(practice.seed);
        unsigned told = 0;
        while (!over()) {
            practised.run(0.5, tap);
            if (const auto state = visit.state(); state.prompt != told) {
                told = state.prompt;
                fmt::print("{:6.1f} s  {}  {}\n", practised.now_s(), state.spoken, state.why);
            }
        }
    } else {
        auto then = Clock::now();
        while (!over()) {
            std::this_thread::sleep_for(kLook);
            const auto now = Clock::now();
            practised.run(practice.pace * std::min(0.5, std::chrono::duration<double>(now - then).count()), tap);
            then = now;
            for (const auto& r : practised.recent()) sound.add(r);
            for (const char key : terminal->keys()) {
                guide_key(keys, key, visit, practised.now_s());
                if (!keys.sprayed.empty()) practised.spray(keys.sprayed);
            }
            if (terminal->gone()) break;
            face.show(*terminal, keys, sound);
        }
        terminal.reset();
    }
    if (const auto wrong = face.keep(); wrong && !fault) fault = wrong;
    if (!practice.folder.empty() && !fault)
        if (const auto written = write_text(in_folder("truth.json"), truth_text(spec, practice)); !written)
            fault = written.error();
    print_end(practised.guided());
    fmt::print("\nThe truth:\n");
    const auto last = practised.guided().step().value_or(plan::PlanStep{});
    for (const auto& line : debrief(spec, engine.lesson, visit.record(), last)) fmt::print("  {}\n", line);
    if (fault) return refuse(*fault);
    return close_output(kExitDone);
}

}  // namespace idlehark
