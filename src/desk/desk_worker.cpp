#include "src/desk/desk_worker.hpp"

#include "dsp/full_scale.hpp"
#include "src/capture/audio_system.hpp"
#include "src/desk/kept_case.hpp"
#include "src/desk/practice_truth.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/last_choice.hpp"
#include "src/files/local_time.hpp"
#include "src/files/marks_file.hpp"
#include "src/files/text_file.hpp"
#include "src/practice/engines.hpp"
#include "src/practice/practice_bay.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <utility>
#include <variant>

#include <fmt/format.h>

namespace idlehark {

namespace fs = std::filesystem;
namespace ask = gui::ask;

namespace {

constexpr auto kLook = std::chrono::milliseconds{25};
constexpr auto kThinkingLook = std::chrono::milliseconds{60};
constexpr std::ptrdiff_t kOrdersKept = 160;
constexpr double kTraceKept_s = 180.0;
constexpr double kLongestPractice_s = 3600.0;
constexpr double kPracticeRate_hz = 16000.0;
constexpr double kPeakHeld_s = 2.0;
constexpr double kPeakFall_db = 2.0;  // a look: the level falls slowly enough to be read

Engine usual_engine() {
    Engine e;
    e.name = "";
    e.firing_order = {1, 3, 4, 2};
    return e;
}

}  // namespace

/// What is looked at before any spray: common practice, no source; limits are the user's own.
std::vector<gui::LogLine> Desk::Worker::usual_log() {
    const auto line = [](const char* name, const char* unit) {
        gui::LogLine l;
        l.name = name;
        l.unit = unit;
        return l;
    };
    return {line("spark plugs' look", ""),       line("fuel pressure", "bar"),
            line("air meter resistance", "ohm"), line("throttle sensor resistance", "kohm"),
            line("ignition timing", "deg"),      line("cam timing", ""),
            line("compression, lowest", "bar"),  line("coolant sensor resistance", "ohm")};
}

Desk::Worker::Worker(const DeskOptions& options) : options_(options), prompter_(options.prompt_output) {
    state_.engine = usual_engine();
    state_.log = usual_log();
    std::vector<gui::PracticeOffer> offers;
    for (const auto& e : practice_engines()) offers.push_back({e.number, e.name, e.complaint});
    state_.practice_engines = std::make_shared<const std::vector<gui::PracticeOffer>>(std::move(offers));
    renew_spots();
    publish();
    thread_ = std::jthread{[this](const std::stop_token& stop) { run(stop); }};
}

Desk::Worker::~Worker() {
    job_.cancel();
    thinking_.cancel();
    glance_.cancel();
    thread_.request_stop();
    wake_.notify_all();
    if (thread_.joinable()) thread_.join();
}

std::shared_ptr<const gui::ViewState> Desk::Worker::view() const {
    const std::scoped_lock lock{mutex_};
    return shown_;
}

void Desk::Worker::send(gui::Command command) {
    {
        const std::scoped_lock lock{mutex_};
        commands_.push_back(std::move(command));
    }
    wake_.notify_all();
}

void Desk::Worker::publish() {
    ++state_.revision;
    state_.job = {job_.running(), job_.running() ? job_.what() : "", job_.share()};
    auto copy = std::make_shared<const gui::ViewState>(state_);
    const std::scoped_lock lock{mutex_};
    shown_ = std::move(copy);
    changed_ = false;
}

void Desk::Worker::fault(const Error& error) {
    if (state_.fault && state_.fault->what == error.what && state_.fault->hint == error.hint) return;  // it stands
    const auto number = state_.fault ? state_.fault->number + 1 : state_.revision + 1;
    state_.fault = gui::Fault{error.what, error.hint, number};
    changed_ = true;
}

void Desk::Worker::lead_to(gui::Stage stage) {
    state_.stage = stage;
    ++state_.stage_edition;
    changed_ = true;
}

void Desk::Worker::run(const std::stop_token& stop) {
    double shown_share = -1.0;
    state_.known_cases = known_cases(options_.cases_folder, last_case());
    changed_ = true;
    while (!stop.stop_requested()) {
        std::deque<gui::Command> todo;
        {
            std::unique_lock lock{mutex_};
            const bool busy = run_ || job_.running() || thinking_.running() || glance_.running() || prompter_.waiting();
            // Nothing under way: asleep until somebody wants something.
            const auto called = [this] { return !commands_.empty(); };
            if (!busy)
                wake_.wait(lock, stop, called);
            else if (!run_)
                wake_.wait_for(lock, stop, kThinkingLook, called);
            todo.swap(commands_);
        }
        for (const auto& command : todo) {
            std::visit([this](const auto& c) { on(c); }, command);
            changed_ = true;
        }
        const auto failed = [this](const Error& e) { fault(e); };
        for (auto* job : {&job_, &thinking_, &glance_})
            if (job->running()) {
                if (const auto outcome = job->finished(failed)) {
                    if (*outcome) (*outcome)();
                    changed_ = true;
                }
            }
        glance_at_next();
        if (run_) listen();
        prompter_.pump();
        if (job_.running() && job_.share() != shown_share) {
            shown_share = job_.share();
            changed_ = true;
        }
        if (changed_) publish();
    }
    closing_ = true;
    std::deque<gui::Command> left;  // sent just before
    {
        const std::scoped_lock lock{mutex_};
        left.swap(commands_);
    }
    for (const auto& command : left) std::visit([this](const auto& c) { on(c); }, command);
    if (run_)
        end_run("closed");
    else
        keep_all();
}

// --- sound -----------------------------------------------------------------------------------------------------------

SoundRun::Start Desk::Worker::start_of(const std::string& record_path) const {
    return {.tracker = IdleTrackerConfig{.sample_rate_hz = 48000.0, .engine = state_.engine, .hop_s = 0.1},
            .record_path = record_path};
}

Result<std::unique_ptr<SoundRun>> Desk::Worker::microphone(const std::string& device,
                                                           const SoundRun::Start& start) const {
    return options_.microphone.empty() ? SoundRun::device(device, start)
                                       : SoundRun::file(options_.microphone, options_.microphone_pace, start);
}

Result<Done> Desk::Worker::ensure_case() {
    if (case_) return Done{};
    std::error_code code;
    fs::create_directories(options_.cases_folder, code);
    if (code)
        return Error{fmt::format("{}: cannot be made ({})", options_.cases_folder, code.message()),
                     "Choose another folder with --cases, or make room."};
    const auto base =
        (fs::path{options_.cases_folder} / (local_time("%Y-%m-%d") + (truth_ ? "-practice" : ""))).string();
    auto folder = base;
    for (int n = 2; is_there(folder); ++n) folder = fmt::format("{}-{}", base, n);
    const auto name = state_.engine.name.empty() ? local_time("%Y-%m-%d") : state_.engine.name;
    auto made = DeskCase::create(folder, name, state_.engine, truth_ ? "practice" : "");
    if (!made) return made.error();
    case_.emplace(std::move(made.value()));
    case_opened(folder);
    check_kept(case_->keep_map(state_.map, state_.map_folder));
    return Done{};
}

Result<std::string> Desk::Worker::fresh_path(RecordingKind kind, const std::string& name) {
    if (const auto there = ensure_case(); !there) return there.error();
    keep_all();
    const auto visit = case_->visit();
    if (!visit) return visit.error();
    auto begun = case_->book().begin_recording(visit.value(), kind, name + ".flac", 1, "");
    if (!begun) return begun.error();
    recording_ = begun.value().id;
    recording_kind_ = kind;
    return begun.value().path;
}

/// The recording that fresh_path() noted could not begin.
void Desk::Worker::withdraw_recording() {
    if (!recording_ || !case_) return;
    if (const auto row = case_->book().recording(*recording_); row && row.value().running)
        check_kept(case_->book().withdraw_recording(*recording_));
    recording_.reset();
}

void Desk::Worker::check_kept(const Result<Done>& kept) {
    if (!kept) fault(kept.error());
}

void Desk::Worker::keep_all() {
    if (!case_) return;
    check_kept(case_->keep_engine(state_.engine));
    check_kept(case_->keep_map(state_.map, state_.map_folder));
    check_kept(case_->keep_log(state_.log));
    check_kept(case_->keep_gate(state_.gate));
    if (guided_ && spray_wanted_) check_kept(case_->keep_guided(guided_->visit().record()));
}

/// Cautions hold for one visit: what was confirmed before an earlier sound has to be looked at again.
void Desk::Worker::leave_visit() {
    if (!guided_ && !heard_since_gate_) return;
    const bool sprayed = guided_ && !guided_->visit().record().bursts.empty();
    state_.gate = {};
    heard_since_gate_ = false;
    guided_.reset();
    if (!case_) return;
    case_->ask_again();
    if (!sprayed) return;
    case_->next_visit();
    hiss_takes_.clear();
    injector_takes_.clear();
    to_glance_.clear();
}

void Desk::Worker::begin_run(Result<std::unique_ptr<SoundRun>> run, gui::Mode mode) {
    if (!run) {
        withdraw_recording();
        fault(run.error());
        return;
    }
    run_ = std::move(run.value());
    ++starts_;
    readings_.clear();
    hisses_.clear();
    trace_.clear();
    state_.trace.reset();
    state_.bursts.clear();
    state_.orders.clear();
    state_.settle = {.matters_rpm = state_.settle.matters_rpm};
    // Of another day: it does not stand for this one.
    if (state_.visit_shown != 0 && (!case_ || case_->visit_so_far() != state_.visit_shown)) forget_results();
    state_.visit_shown = 0;
    state_.headline.clear();
    state_.cautions.clear();
    state_.notes.clear();
    state_.written.clear();
    state_.score = {};
    quiet_from_s_ = 0.0;
    gaps_told_ = clipped_told_ = 0;
    marks_kept_ = 0;
    recording_path_ = run_->record_path();
    spray_wanted_ = false;
    state_.sound = {};
    state_.sound.mode = mode;
    state_.sound.source = run_->name();
    state_.sound.running = true;
    state_.sound.recording = run_->recording();
    // Hands-free from the start where there is a real engine; a practice bay is sat at.
    prompter_.choose(mode == gui::Mode::live ? gui::Prompts::spoken : gui::Prompts::off);
    prompts_said_ = 0;
    begin_visit();
    renew_spots();
    show_visit();
}

void Desk::Worker::end_run(const std::string& why) {
    if (!run_) return;
    if (spray_under_way()) {
        guided_->visit().stop("Stopped: " + why + ".");
        show_visit();
    }
    const bool recorded = run_->recording();
    if (run_->practice()) practice_bursts_ = run_->practice()->bursts();
    const auto news = run_->finish(why);
    take_news(news);
    if (news.fault && news.fault->what != why) fault(*news.fault);
    run_.reset();
    heard_since_gate_ |= recording_kind_ == RecordingKind::bay;  // the probe belongs to the visit under way
    state_.sound.running = false;
    state_.sound.recording = false;
    state_.sound.locked = false;
    state_.sound.rpm = std::nan("");
    keep_all();
    if (recorded && recording_ && case_) {
        const auto closed = case_->book().finish_recording(*recording_);
        if (!closed)
            fault(closed.error());
        else if (!closed.value().empty())
            fault({"not every mark was kept: " + closed.value(), "The file lies in the case's folder audio."});
        if (guided_ && spray_wanted_) check_kept(case_->settle_marks(*recording_, guided_->visit().record()));
        renew_kept();
        if (recording_kind_ == RecordingKind::bay && !closing_) measure_recording(*recording_, pick_up_cylinder_);
    }
    pick_up_cylinder_ = 0;
    changed_ = true;
}

void Desk::Worker::listen() {
    const auto news = run_->look(kLook);
    take_news(news);
    if (state_.take.running) {
        state_.take.done_s = state_.sound.now_s;
        if (state_.take.done_s >= state_.take.needed_s) on(ask::StopTake{});
        if (!run_) return;
    }
    // The microphone, or the disk.
    if (const auto broken = news.fault ? news.fault : run_->broken()) {
        fault({broken->what, "What was heard is kept. Put it right, then start the microphone again on page 1."});
        end_run(broken->what);
        state_.take = {};
        show_visit();
        if (guided_ && spray_wanted_) conclude();  // what was heard until then counts
        return;
    }
    if (run_->at_end()) {
        // The player hands over its last block just before it says that it is done.
        end_run("end of the recording");
        if (state_.sound.mode == gui::Mode::replay) on(ask::FinishSpray{});
        return;
    }
    feed_settle();
    if (guided_ && spray_wanted_) {
        guided_->pump();
        if (guided_->step()) show_standing(*guided_->step());
        show_visit();
        if (state_.spray.phase == gui::SprayPhase::finished) on(ask::FinishSpray{});
    }
}

void Desk::Worker::take_news(const LiveNews& news) {
    auto& s = state_.sound;
    const double rate_hz = run_->sample_rate_hz();
    s.now_s = static_cast<double>(news.frames) / rate_hz;
    s.recorded_s = s.recording ? s.now_s : 0.0;
    s.gaps = news.gaps;
    s.dropped_frames = news.losses.dropped_frames;
    if (news.gaps > gaps_told_ && guided_) guided_->gap(s.now_s);
    if (news.gaps > gaps_told_) quiet_from_s_ = s.now_s;
    gaps_told_ = news.gaps;
    s.clipped = news.clipped_samples > clipped_told_;
    clipped_told_ = news.clipped_samples;
    const double peak = news.peak[0] > 0.0F ? 20.0 * std::log10(static_cast<double>(news.peak[0])) : -200.0;
    s.peak_dbfs = std::max(peak, s.peak_dbfs - kPeakFall_db);
    if (peak >= s.held_dbfs || s.now_s - held_at_s_ > kPeakHeld_s) {
        s.held_dbfs = s.peak_dbfs;
        held_at_s_ = s.now_s;
    }
    if (news.peak[0] >= kFullScale) s.clipped = true;
    for (const auto& r : news.readings) {
        const auto& x = r.reading;
        readings_.push_back(x);
        s.locked = x.locked;
        s.rpm = x.rpm;
        s.rpm_low = x.rpm_low;
        s.rpm_high = x.rpm_high;
        trace_.push_back({x.time_s, x.locked ? x.rpm : std::nan(""), x.rpm_low, x.rpm_high});
        if (guided_) guided_->reading(r);
    }
    if (!news.readings.empty()) {
        const double from_s = s.now_s - kTraceKept_s;
        std::erase_if(trace_, [&](const gui::TracePoint& p) { return p.time_s < from_s; });
        state_.trace = std::make_shared<const std::vector<gui::TracePoint>>(trace_);
    }
    for (const auto& row : news.orders) state_.orders.push_back(std::make_shared<const OrderRow>(row));
    if (std::ssize(state_.orders) > kOrdersKept)
        state_.orders.erase(state_.orders.begin(), state_.orders.end() - kOrdersKept);
    for (const auto& b : news.bursts) {
        hisses_.push_back(b);
        if (guided_ && spray_wanted_) guided_->hiss(b);
    }
    if (guided_) guided_->time(s.now_s);
    changed_ = true;
}

// --- commands: sound, case, forms ------------------------------------------------------------------------------------

void Desk::Worker::on(const ask::ListDevices&) {
    const auto system = AudioSystem::open();
    state_.devices.clear();
    if (!system) {
        fault(system.error());
        return;
    }
    for (const auto& d : system.value().devices())
        if (d.input_channels > 0) state_.devices.push_back(d.name);
}

void Desk::Worker::on(const ask::StartLive& c) {
    end_run("another sound was chosen");
    if (truth_) {  // the practice bay's engine and map are not the user's
        leave_case();
        state_.engine = usual_engine();
        state_.map = {};
        ++state_.engine_edition;
        ++state_.map_edition;
    }
    leave_visit();
    const auto path = fresh_path(RecordingKind::bay, "bay");
    if (!path) {
        fault(path.error());
        return;
    }
    begin_run(microphone(c.device, start_of(path.value())), gui::Mode::live);
}

void Desk::Worker::on(const ask::StartReplay& c) {
    end_run("another sound was chosen");
    leave_case();  // it belongs to none yet
    const fs::path sound{c.path};
    const auto beside = [&](const char* name) { return (sound.parent_path() / name).string(); };
    if (const auto file = beside("engine.json"); is_there(file)) {
        const auto engine = read_engine(file);
        if (!engine) return fault(engine.error());
        state_.engine = engine.value().engine;
        ++state_.engine_edition;
    }
    if (const auto file = beside("map.json"); is_there(file)) {
        auto map = read_map(file, state_.engine.cylinders);
        if (!map) return fault(map.error());
        state_.map = std::move(map.value().map);
        state_.map_folder = sound.parent_path().string();
        ++state_.map_edition;
    }
    begin_run(SoundRun::file(c.path, 0.0, start_of("")), gui::Mode::replay);
    if (!run_) return;
    recording_path_ = c.path;
    for (const auto& file : {c.marks_path, RecordingNames{c.path}.marks, beside("marks.csv")}) {
        if (file.empty() || !is_there(file)) continue;
        const auto marks = read_marks(file);
        if (!marks) return fault(marks.error());
        for (const auto& m : marks.value().marks) state_.bursts.push_back({m.time_s, std::nan(""), m.spot});
        break;
    }
}

void Desk::Worker::on(const ask::StartPractice& c) {
    end_run("another sound was chosen");
    job_.start("practice", [this, c, start = ++starts_](Job::Ticket& ticket) -> Job::Outcome {
        PracticeRequest request;
        request.seed = c.seed;
        request.sample_rate_hz = kPracticeRate_hz;
        request.spots = options_.practice_spots;
        request.disturbed = options_.practice_disturbed;
        sim::SessionSpec spec;
        if (c.engine > 0) {
            spec = practice_engine(c.engine, c.seed, kPracticeRate_hz);
        } else {
            const auto session = practice_session(request);
            if (!session) return [this, error = session.error()] { fault(error); };
            spec = session.value().spec();
        }
        auto bay =
            std::make_shared<std::unique_ptr<sim::LiveBay>>(std::make_unique<sim::LiveBay>(spec, kLongestPractice_s));
        ticket.at(0.5);
        static_cast<void>((*bay)->sound());  // scaling it takes a while: not on the desk's thread
        ticket.at(1.0);
        return [this, c, bay, map = practice_map(spec), start] {
            if (start != starts_) return;  // something else was begun meanwhile
            leave_case();
            truth_ = (*bay)->spec();
            practice_engine_ = c.engine;
            practice_bursts_.clear();
            state_.spots.clear();
            state_.injectors.clear();
            state_.engine = truth_->engine.engine;
            ++state_.engine_edition;
            state_.map = map;
            ++state_.map_edition;
            const auto path = fresh_path(RecordingKind::bay, "bay");
            if (!path) return fault(path.error());
            begin_run(SoundRun::practice(std::move(*bay), c.pace, start_of(path.value())), gui::Mode::practice);
        };
    });
}

void Desk::Worker::on(const ask::Stop&) {
    ++starts_;
    prompter_.hush();
    if (job_.what() != kMeasuring) job_.cancel();  // pressed twice in alarm, the test is measured all the same
    if (state_.take.running) return on(ask::StopTake{});
    if (guided_) guided_->visit().stop();
    const bool sprayed = guided_ && spray_wanted_ && !guided_->visit().record().bursts.empty();
    end_run("stopped by hand");
    show_visit();
    if (sprayed) on(ask::FinishSpray{});
}

void Desk::Worker::on(const ask::SetStage& c) {
    state_.stage = c.stage;
    keep_all();
}

void Desk::Worker::on(const ask::SetEngine& c) {
    if (state_.sound.mode == gui::Mode::practice && run_) {
        ++state_.engine_edition;
        return fault({"the practice bay has its own engine", "Stop it first (Esc)."});
    }
    try {
        check(c.engine);
        auto renamed = state_.engine;
        renamed.name = c.engine.name;
        if (run_ && !(c.engine == renamed)) {
            ++state_.engine_edition;
            return fault({"the engine cannot change while its sound runs",
                          "Stop the sound (Esc), change the engine, start again."});
        }
        state_.engine = c.engine;
        state_.engine_fault.clear();
        renew_spots();
    } catch (const std::invalid_argument& wrong) {
        state_.engine_fault = wrong.what();
    }
}

void Desk::Worker::on(const ask::SetLog& c) { state_.log = c.lines; }

void Desk::Worker::on(const ask::SetMap& c) {
    if (run_ && guided_ && !guided_->visit().record().bursts.empty())
        return fault({"the map cannot change while its spots are being sprayed", "Finish the test first."});
    if (spray_under_way()) {  // a prompt that is out is for a spot of the map that was
        guided_->visit().pause(true);
        show_visit();
    }
    state_.map = c.map;
    if (run_) {
        guided_.reset();
        begin_visit();
    }
    renew_spots();
}

void Desk::Worker::on(const ask::Tell& c) { fault({c.what, c.hint}); }

void Desk::Worker::on(const ask::CancelJob&) { job_.cancel(); }

void Desk::Worker::on(const ask::CloseFault& c) {
    if (state_.fault && state_.fault->number == c.number) state_.fault.reset();
}

void Desk::Worker::on(const ask::ShowScore&) {
    if (!truth_) return;
    if (run_) return fault({"the truth is sealed until the test is over", "Finish it first, or stop it (Esc)."});
    state_.score = score_practice(*truth_, state_.spots, practice_bursts_);
    state_.score.debrief = debrief_lines();
    for (std::size_t i = 0; i < state_.spots.size() && i < truth_->leak_rpm.size(); ++i)
        state_.spots[i].truth_leak = truth_->leak_rpm[i] != 0.0;
}

std::vector<std::string> Desk::Worker::debrief_lines() const {
    const auto engines = practice_engines();
    const auto it =
        std::find_if(engines.begin(), engines.end(), [&](const auto& e) { return e.number == practice_engine_; });
    const auto step = guided_ ? guided_->step() : std::nullopt;
    auto lines = debrief(*truth_, it == engines.end() ? "" : it->lesson,
                         guided_ ? guided_->visit().record() : VisitRecord{}, step.value_or(plan::PlanStep{}));
    const auto injectors = debrief_injectors(*truth_, state_.injectors);
    lines.insert(lines.end(), injectors.begin(), injectors.end());
    return lines;
}

}  // namespace idlehark
