#include "src/analysis/injector_session.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/measure.hpp"
#include "src/desk/desk_worker.hpp"
#include "src/practice/practice_probe.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <charconv>
#include <string_view>
#include <utility>

namespace idlehark {

namespace ask = gui::ask;

namespace {

constexpr double kProbeTake_s = 10.0;
constexpr double kIdleTake_s = 30.0;  // the balance is sure of half a cylinder's strength in so much

int number_of(const std::string& text) {
    int n = 0;
    std::from_chars(text.data(), text.data() + text.size(), n);
    return n;
}

std::string plain(std::string text) {
    for (char& c : text)
        if (!((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'))) c = '-';
    return text;
}

std::string name_of_take(RecordingKind kind, const std::string& place) {
    return (kind == RecordingKind::injector ? "injector-" : "hiss-") + plain(place);
}

/// Whether a file of the case is of that name, the first or a later one: injector-3.flac, injector-3-2.flac.
bool is_take_of(std::string_view file, std::string_view name) {
    if (!file.starts_with(name)) return false;
    file.remove_prefix(name.size());
    file = file.substr(0, file.find('.'));
    return file.empty() ||
           (file.size() > 1 && file[0] == '-' && file.find_first_not_of("0123456789", 1) == std::string_view::npos);
}

RecordingKind kind_of(gui::TakeKind kind) {
    return kind == gui::TakeKind::injector ? RecordingKind::injector
           : kind == gui::TakeKind::hiss   ? RecordingKind::hiss
                                           : RecordingKind::bay;
}

}  // namespace

void Desk::Worker::on(const ask::StartTake& c) {
    if (truth_) return take_in_practice(c);
    begin_take(c.injector ? gui::TakeKind::injector : gui::TakeKind::hiss, c.place, kProbeTake_s);
}

void Desk::Worker::on(const ask::StartIdleTake& c) {
    if (truth_)
        return fault({"the practice bay's balance is measured from its own sound when its test is over",
                      "Finish or stop it (Esc)."});
    begin_take(gui::TakeKind::idle, "", kIdleTake_s, c.pick_up_cylinder);
}

void Desk::Worker::begin_take(gui::TakeKind kind, const std::string& place, double needed_s, int pick_up_cylinder) {
    if (spray_under_way())
        return fault({"the spray test is still running", "Finish it first, or stop it (Esc); then take this sound."});
    end_run("a take begins");
    leave_visit();
    const auto name = kind == gui::TakeKind::idle ? std::string{"idle"} : name_of_take(kind_of(kind), place);
    const auto path = fresh_path(kind_of(kind), name);
    if (!path) return fault(path.error());
    auto start = start_of(path.value());
    if (pick_up_cylinder > 0) start.channels = kPickUpChannel;
    begin_run(microphone("", start), gui::Mode::live);
    if (!run_) return;
    pick_up_cylinder_ = pick_up_cylinder;
    guided_.reset();  // no spray test from this sound
    state_.take = {.running = true, .kind = kind, .place = place, .done_s = 0.0, .needed_s = needed_s};
}

/// The practice bay's probe is a second microphone: its take is simulated at once, kept and judged like any other.
void Desk::Worker::take_in_practice(const ask::StartTake& c) {
    if (job_.running()) return fault({"something else is being worked on", "Wait until it is done, or cancel it."});
    const auto spot = std::find_if(truth_->spots.begin(), truth_->spots.end(),
                                   [&](const sim::BaySpot& s) { return s.id == c.place; });
    if (!case_ || (!c.injector && spot == truth_->spots.end())) return;
    const auto index = static_cast<std::size_t>(spot - truth_->spots.begin());
    job_.start("the simulated probe listens",
               [this, c, index, bay = *truth_, folder = state_.case_folder](Job::Ticket&) -> Job::Outcome {
                   auto sound = c.injector ? probe_injector(bay, number_of(c.place)) : probe_spot(bay, index);
                   return [this, c, folder, sound = std::move(sound)] {
                       if (!case_ || state_.case_folder != folder) return;
                       if (const auto recording = keep_simulated(c, sound); recording)
                           keep_take(c.injector, c.place, recording.value());
                       else
                           fault(recording.error());
                   };
               });
}

Result<RowId> Desk::Worker::keep_simulated(const ask::StartTake& c, const std::vector<float>& sound) {
    const auto visit = case_->visit();
    if (!visit) return visit.error();
    const auto kind = c.injector ? RecordingKind::injector : RecordingKind::hiss;
    auto begun = case_->book().begin_recording(visit.value(), kind, name_of_take(kind, c.place) + ".flac", 1, "");
    if (!begun) return begun.error();
    {
        auto writer = SoundWriter::open(begun.value().path, kProbeRate_hz);
        if (!writer) {
            check_kept(case_->book().withdraw_recording(begun.value().id));
            return writer.error();
        }
        if (const auto written = writer.value().write(sound); !written) return written.error();
    }  // the file is closed: its fingerprint can be taken
    if (const auto closed = case_->book().finish_recording(begun.value().id); !closed) return closed.error();
    return begun.value().id;
}

void Desk::Worker::on(const ask::StopTake&) {
    if (!state_.take.running) return;
    const auto take = std::exchange(state_.take, {});
    const bool whole = take.done_s >= take.needed_s;
    end_run(whole ? "the take is done" : "the take was ended early");
    if (whole && recording_ && take.kind != gui::TakeKind::idle)
        keep_take(take.kind == gui::TakeKind::injector, take.place, *recording_);
}

void Desk::Worker::keep_take(bool injector, const std::string& place, RowId recording) {
    if (injector) {
        injector_takes_[number_of(place)] = recording;
        const auto row = case_->book().recording(recording);
        if (!row) return fault(row.error());
        const auto path = case_->book().audio_path(row.value());
        if (!path) return fault(path.error());
        to_glance_[number_of(place)] = path.value();
    } else {
        hiss_takes_[place] = recording;
    }
    renew_spots();
    changed_ = true;
}

void Desk::Worker::find_takes(RowId visit) {
    const auto recordings = case_->book().recordings(visit);
    if (!recordings) return fault(recordings.error());
    for (const auto& r : recordings.value()) {
        if (r.running || r.length_s() < kProbeTake_s) continue;  // ended early: heard, but no take
        if (r.kind == RecordingKind::injector)
            for (int c = 1; c <= state_.engine.cylinders; ++c)
                if (is_take_of(r.file, name_of_take(r.kind, std::to_string(c)))) injector_takes_[c] = r.id;
        if (r.kind == RecordingKind::hiss)
            for (const auto& s : state_.map.spots)
                if (is_take_of(r.file, name_of_take(r.kind, s.spot))) hiss_takes_[s.spot] = r.id;
    }
}

void Desk::Worker::take_in(RecordingKind kind, const std::string& path, std::function<void(RowId)> then) {
    if (const auto there = ensure_case(); !there) return fault(there.error());
    keep_all();
    const auto visit = case_->visit();
    if (!visit) return fault(visit.error());
    job_.start("taking the recording into the case",
               [this, kind, path, then = std::move(then), folder = state_.case_folder,
                visit = visit.value()](Job::Ticket&) -> Job::Outcome {
                   auto book = Casebook::open(folder, Casebook::Access::write);
                   if (!book) return [this, e = book.error()] { fault(e); };
                   const auto id = book.value().import_recording(visit, kind, path, 1, {});
                   if (!id) return [this, e = id.error()] { fault(e); };
                   return [this, then, folder, id = id.value()] {
                       if (!case_ || state_.case_folder != folder) return;
                       then(id);
                       renew_kept();
                   };
               });
}

void Desk::Worker::on(const ask::TakeFile& c) {
    take_in(c.injector ? RecordingKind::injector : RecordingKind::hiss, c.path,
            [this, c](RowId id) { keep_take(c.injector, c.place, id); });
}

void Desk::Worker::on(const ask::IdleFile& c) {
    take_in(RecordingKind::bay, c.path, [this, c](RowId id) { measure_recording(id, c.pick_up_cylinder); });
}

void Desk::Worker::judge_set(const char* what, const char* kind, std::vector<std::pair<RowId, std::string>> takes) {
    if (!case_ || takes.empty()) return;
    keep_all();
    job_.start(
        what, [this, kind, takes = std::move(takes), folder = state_.case_folder](Job::Ticket& ticket) -> Job::Outcome {
            auto book = Casebook::open(folder, Casebook::Access::write);
            if (!book) return [this, e = book.error()] { fault(e); };
            auto engine = book.value().engine();
            if (!engine) return [this, e = engine.error()] { fault(e); };
            Measurement measurement;
            measurement.kind = kind;
            measurement.engine = std::move(engine.value());
            measurement.settings = {{"channel", 1}};
            if (measurement.kind == "hiss") measurement.settings["gain"] = "lines";
            for (const auto& [recording, label] : takes) {
                const auto row = book.value().recording(recording);
                if (!row) return [this, e = row.error()] { fault(e); };
                measurement.sources.emplace_back(row.value(), ResultSource{recording, label, 0.0});
            }
            const auto stored =
                measure_and_store(book.value(), measurement, [&](double share) { ticket.at(0.99 * share); });
            if (!stored) return [this, e = stored.error()] { fault(e); };
            return [this, folder, result = stored.value()] {
                if (!result.answered) fault({result.figures.value("reason", ""), result.figures.value("hint", "")});
                results_stored(folder, result.visit);
            };
        });
}

void Desk::Worker::glance_at_next() {
    if (glance_.running() || to_glance_.empty()) return;
    const auto next = to_glance_.extract(to_glance_.begin());
    InjectorRequest request;
    request.engine = state_.engine;
    request.recordings.emplace_back(next.key(), next.mapped());
    glance_.start("the clicks", [this, request, folder = state_.case_folder](Job::Ticket&) -> Job::Outcome {
        const auto outcome = judge_injectors(request, [](std::size_t) {});
        const auto* view = std::get_if<InjectorView>(&outcome);
        if (view == nullptr) return {};  // why not is said when the set is judged
        const auto& probe = view->injectors.front().probe;
        auto clicks = std::make_shared<const gui::ClickView>(
            gui::ClickView{probe.pair, probe.pair_from_ms, probe.pair_step_ms, probe.open_at_ms, probe.close_at_ms});
        return [this, folder, clicks = std::move(clicks), cylinder = request.recordings.front().first] {
            if (state_.case_folder != folder) return;
            for (auto& line : state_.injectors)
                if (line.cylinder == cylinder) line.clicks = clicks;
        };
    });
}

void Desk::Worker::on(const ask::JudgeHiss&) {
    std::vector<std::pair<RowId, std::string>> takes;
    for (const auto& [spot, recording] : hiss_takes_) takes.emplace_back(recording, spot);
    judge_set("comparing the spots", "hiss", std::move(takes));
}

void Desk::Worker::on(const ask::JudgeInjectors&) {
    std::vector<std::pair<RowId, std::string>> takes;
    for (const auto& [cylinder, recording] : injector_takes_) takes.emplace_back(recording, std::to_string(cylinder));
    judge_set("comparing the injectors", "injectors", std::move(takes));
}

}  // namespace idlehark
