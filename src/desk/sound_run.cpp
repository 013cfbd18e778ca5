#include "src/desk/sound_run.hpp"

#include "src/files/last_choice.hpp"
#include "src/files/local_time.hpp"

namespace idlehark {

namespace {

constexpr double kWantedRate_hz = 48000.0;

Result<LiveSource> open_device(const std::string& wanted, int channels) {
    if (!wanted.empty()) return LiveSource::device(wanted, kWantedRate_hz, channels);
    if (const auto last = last_device(); !last.empty())
        if (auto source = LiveSource::device(last, kWantedRate_hz, channels)) return source;
    return LiveSource::device("", kWantedRate_hz, channels);
}

}  // namespace

Result<Done> SoundRun::begin(const Start& start, Capture& capture) {
    if (!start.record_path.empty()) {
        RecordingSettings settings;
        settings.device = name_;
        settings.sample_rate_hz = sample_rate_hz_;
        settings.channels = capture.channels();
        settings.started_at = now_text_with_zone();
        auto recorder = Recorder::create(start.record_path, settings);
        if (!recorder) return recorder.error();
        recorder_.emplace(std::move(recorder.value()));
        record_path_ = recorder_->names().sound;
        marks_.emplace(recorder_->names().marks);
    }
    LiveSessionConfig config{
        .sample_rate_hz = sample_rate_hz_, .microphone_channel = 1, .tracker = start.tracker, .orders = true};
    if (config.tracker) config.tracker->sample_rate_hz = sample_rate_hz_;
    try {
        session_ = std::make_unique<LiveSession>(capture, config, recorder_ ? &*recorder_ : nullptr);
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), "Correct the engine on the first page."};
    }
    return Done{};
}

Result<std::unique_ptr<SoundRun>> SoundRun::device(const std::string& wanted, const Start& start) {
    auto source = open_device(wanted, start.channels);
    if (!source) return source.error();
    std::unique_ptr<SoundRun> run{new SoundRun};
    run->source_.emplace(std::move(source.value()));
    run->name_ = run->source_->name();
    run->sample_rate_hz_ = run->source_->sample_rate_hz();
    if (const auto begun = run->begin(start, run->source_->capture()); !begun) return begun.error();
    remember_device(run->name_);
    run->source_->start();
    return run;
}

Result<std::unique_ptr<SoundRun>> SoundRun::file(const std::string& path, double pace, const Start& start) {
    auto source = LiveSource::file(path, 1, pace);
    if (!source) return source.error();
    std::unique_ptr<SoundRun> run{new SoundRun};
    run->source_.emplace(std::move(source.value()));
    run->name_ = path;
    run->sample_rate_hz_ = run->source_->sample_rate_hz();
    if (const auto begun = run->begin(start, run->source_->capture()); !begun) return begun.error();
    run->source_->start();
    return run;
}

Result<std::unique_ptr<SoundRun>> SoundRun::practice(std::unique_ptr<sim::LiveBay> bay, double pace,
                                                     const Start& start) {
    std::unique_ptr<SoundRun> run{new SoundRun};
    run->name_ = bay->spec().engine.engine.name;
    run->sample_rate_hz_ = bay->spec().engine.sample_rate_hz;
    run->own_ = std::make_unique<Capture>(1);
    run->player_ = std::make_unique<PracticePlayer>(std::move(bay), *run->own_, pace);
    if (const auto begun = run->begin(start, *run->own_); !begun) return begun.error();
    run->player_->start();
    return run;
}

SoundRun::~SoundRun() {
    if (session_) finish("closed");
}

LiveNews SoundRun::finish(const std::string& why) {
    if (source_) source_->stop();
    if (player_) player_->stop();
    auto news = session_->finish();
    if (recorder_) {
        const auto closed = recorder_->finish(why);
        if (!closed && !news.fault) news.fault = closed.error();
        recorder_.reset();
    }
    session_.reset();
    return news;
}

Result<Done> SoundRun::mark(double time_s, const std::string& spot) {
    return marks_ ? marks_->mark(time_s, spot) : Result<Done>{Done{}};
}

}  // namespace idlehark
