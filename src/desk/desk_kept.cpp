// What the desk does with a case: opens it, shows its visits, compares two, writes the report.
#include "src/casebook/case_compare.hpp"
#include "src/casebook/case_report_of.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/repair.hpp"
#include "src/desk/desk_worker.hpp"
#include "src/desk/kept_case.hpp"
#include "src/files/last_choice.hpp"
#include "src/files/text_file.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include <fmt/format.h>

namespace idlehark {

namespace fs = std::filesystem;
namespace ask = gui::ask;

namespace {

constexpr const char* kReportFile = "report.html";

/// What has not been measured of the idle recordings: whoever measured them was cut off.
Result<std::vector<Measurement>> not_measured(const Casebook& book) {
    std::vector<Measurement> list;
    const auto recordings = book.recordings();
    if (!recordings) return recordings.error();
    const auto results = book.results();
    if (!results) return results.error();
    for (const auto& r : recordings.value()) {
        if (r.kind != RecordingKind::bay || r.running) continue;
        const auto measured = [&](const Measurement& m) {
            return std::any_of(results.value().begin(), results.value().end(), [&](const CaseResult& result) {
                return result.kind == m.kind &&
                       std::all_of(m.sources.begin(), m.sources.end(), [&](const auto& needed) {
                           return std::any_of(result.sources.begin(), result.sources.end(),
                                              [&](const ResultSource& s) { return s.recording == needed.first.id; });
                       });
            });
        };
        auto more = measurements_of_bay(book, r.id);
        if (!more) return more.error();
        std::erase_if(more.value(), measured);
        std::move(more.value().begin(), more.value().end(), std::back_inserter(list));
    }
    return list;
}

/// Measures what has not been measured yet; the share done goes to `progress`.
Result<Done> measure_rest(Casebook& book, const MeasureProgress& progress) {
    const auto list = not_measured(book);
    if (!list) return list.error();
    return measure_and_store_all(book, list.value(), progress);
}

gui::CompareState state_of(const CompareView& view, RowId before, RowId after) {
    gui::CompareState s;
    s.before_visit = before;
    s.after_visit = after;
    for (const auto& r : view.rows)
        s.lines.push_back({.figure = r.figure,
                           .name = r.name,
                           .unit = r.unit,
                           .before = r.before,
                           .after = r.after,
                           .difference = r.change.difference,
                           .low = r.change.low,
                           .high = r.change.high,
                           .verdict = r.change.verdict});
    s.cautions = view.cautions;
    s.notes = view.notes;
    return s;
}

}  // namespace

void Desk::Worker::leave_case() {
    if (case_) {
        keep_all();
        state_.log = usual_log();
        ++state_.engine_edition;
    }
    ++starts_;
    case_.reset();
    truth_.reset();
    guided_.reset();
    state_.gate = {};
    heard_since_gate_ = false;
    state_.case_folder.clear();
    state_.kept.reset();
    state_.visit_shown = 0;
    state_.compare.reset();
    state_.written.clear();
    hiss_takes_.clear();
    injector_takes_.clear();
    to_glance_.clear();
    forget_results();
}

void Desk::Worker::forget_results() {
    state_.visit_shown = 0;
    state_.headline.clear();
    state_.cautions.clear();
    state_.notes.clear();
    state_.bursts.clear();
    state_.trace.reset();
    state_.settle = {.matters_rpm = state_.settle.matters_rpm};
    state_.balance = {};
    state_.score = {};
    state_.spots.clear();
    state_.injectors.clear();
    renew_spots();
}

void Desk::Worker::on(const ask::NewCase&) {
    end_run("another case was begun");
    leave_case();
    state_.sound = {};
}

void Desk::Worker::on(const ask::OpenCase& c) {
    end_run("another case was opened");
    auto opened = DeskCase::open(c.folder);
    if (!opened) return fault(opened.error());
    auto log = opened.value().log(usual_log());
    if (!log) return fault(log.error());
    const auto engine = opened.value().book().engine();
    if (!engine) return fault(engine.error());
    auto map = opened.value().book().map();
    if (!map) return fault(map.error());
    leave_case();
    case_.emplace(std::move(opened.value()));
    case_opened(c.folder);
    state_.engine = engine.value().engine;
    state_.map = map.value() ? std::move(map.value()->map) : BayMap{};
    state_.map_folder = c.folder;
    state_.log = std::move(log.value());
    ++state_.engine_edition;
    ++state_.map_edition;
    state_.sound = {};
    renew_kept();
    if (state_.kept && !state_.kept->visits.empty()) find_takes(state_.kept->visits.back().id);
    renew_spots();
    if (!state_.kept || state_.kept->visits.empty()) return;
    show_kept(state_.kept->visits.back().id);
    lead_to(gui::Stage::report);
    finish_what_was_cut_off();
}

/// A window that was closed while it measured, a plug that was pulled: what they left is done now.
void Desk::Worker::finish_what_was_cut_off() {
    const auto recordings = case_->book().recordings();
    if (!recordings) return fault(recordings.error());
    const auto left = not_measured(case_->book());
    if (!left) return fault(left.error());
    const bool open = std::any_of(recordings.value().begin(), recordings.value().end(),
                                  [](const CaseRecording& r) { return r.running; });
    if (!open && left.value().empty()) return;
    job_.start(kMeasuring, [this, folder = state_.case_folder](Job::Ticket& ticket) -> Job::Outcome {
        auto book = Casebook::open(folder, Casebook::Access::write);
        if (!book) return [this, e = book.error()] { fault(e); };
        RepairReport report;
        const auto growing = close_recordings(book.value(), report);
        const auto done = measure_rest(book.value(), [&](double share) { ticket.at(share); });
        return [this, folder, growing, faults = std::move(report.faults), done] {
            for (const auto& f : faults) fault({f, ""});
            if (!done) fault(done.error());
            if (growing > 0)
                fault({"another program is recording into this case",
                       "Close that one first; what it records is measured when the case is opened again."});
            results_stored(folder, state_.visit_shown);
        };
    });
}

void Desk::Worker::case_opened(const std::string& folder) {
    state_.case_folder = folder;
    std::error_code code;
    remember_case(fs::absolute(folder, code).string());
    state_.known_cases = known_cases(options_.cases_folder, last_case());
}

void Desk::Worker::renew_kept() {
    if (!case_) return;
    auto kept = kept_case(case_->book());
    if (!kept) return fault(kept.error());
    state_.kept = std::move(kept.value());
    changed_ = true;
}

void Desk::Worker::on(const ask::ShowVisit& c) {
    if (run_) return fault({"sound is running: the screen is the visit's that is under way", "Stop it first (Esc)."});
    show_kept(c.visit);
}

void Desk::Worker::show_kept(RowId id) {
    const auto* visit = state_.kept ? state_.kept->find(id) : nullptr;
    if (!visit || !case_) return;
    const auto truth = state_.spots;  // of a practice bay, once it was shown
    const auto score = state_.score;
    forget_results();
    state_.visit_shown = id;
    for (std::size_t i = 0; i < std::min(truth.size(), state_.spots.size()); ++i)
        state_.spots[i].truth_leak = truth[i].truth_leak;
    state_.score = score;
    for (const auto& test : visit->tests) show_kept(test);
    show_surveys(*visit);
    if (!visit->bursts.empty()) {  // the guided test's own record knows how long each burst was
        state_.bursts.clear();
        for (const auto& b : visit->bursts)
            if (!b.undone && !b.sham) state_.bursts.push_back({b.time_s, b.duration_s, b.spots});
    }
    state_.notes.insert(state_.notes.end(), visit->remarks.begin(), visit->remarks.end());
    state_.notes.insert(state_.notes.end(), visit->failed.begin(), visit->failed.end());
    auto trace = kept_trace(case_->book(), id);
    if (!trace) return fault(trace.error());
    const auto mode = state_.sound.mode;
    state_.sound = {};
    state_.sound.mode = mode == gui::Mode::practice && truth_ ? mode : gui::Mode::kept;
    state_.sound.source = visit->title.empty() ? visit->date : fmt::format("{} {}", visit->date, visit->title);
    if (!trace.value().empty()) state_.sound.now_s = trace.value().back().time_s;
    state_.trace = std::make_shared<const std::vector<gui::TracePoint>>(std::move(trace.value()));
    changed_ = true;
}

void Desk::Worker::show_surveys(const gui::KeptVisit& visit) {
    for (auto& spot : state_.spots)
        for (const auto& h : visit.hiss)
            if (h.spot == spot.place.spot) {
                spot.hiss_taken = true;
                spot.hiss_db = h.level_db;
                spot.hiss_low_db = h.low_db;
                spot.hiss_high_db = h.high_db;
                spot.hiss_verdict = h.verdict;
                spot.hiss_stands_out = h.verdict == HissVerdict::stands_out;
            }
    for (auto& line : state_.injectors)
        for (const auto& i : visit.injectors)
            if (i.cylinder == line.cylinder) {
                auto clicks = line.clicks;
                line = i;
                line.clicks = std::move(clicks);
            }
    state_.balance = visit.balance;
    if (guided_) guided_->weigh(spot_odds());
}

void Desk::Worker::show_kept(const gui::KeptTest& test) {
    for (auto& spot : state_.spots)
        for (const auto& r : test.spots) {
            if (r.spot != spot.place.spot || r.bursts == 0) continue;
            spot.bursts = r.bursts;
            spot.change_rpm = r.change_rpm;
            spot.low_rpm = r.low_rpm;
            spot.high_rpm = r.high_rpm;
            spot.verdict = r.verdict;
            spot.decided = r.verdict != SprayVerdict::undecided;
        }
    VerdictView view;
    for (const auto& r : test.spots) {
        SpotRow row;
        row.spot = r.spot;
        row.bursts = r.bursts;
        row.verdict = r.verdict;
        view.spots.push_back(std::move(row));
    }
    state_.headline = headline(view, false);
    state_.cautions.insert(state_.cautions.end(), test.cautions.begin(), test.cautions.end());
    state_.notes.insert(state_.notes.end(), test.notes.begin(), test.notes.end());
    state_.bursts = test.bursts;
    state_.settle.idle_rpm = test.idle_rpm;
    state_.settle.hunting_rpm = test.hunting_rpm;
    state_.settle.smallest_provable_rpm = test.smallest_provable_rpm;
    if (std::isfinite(test.matters_rpm)) state_.settle.matters_rpm = test.matters_rpm;
    state_.settle.done = std::isfinite(test.idle_rpm);
}

void Desk::Worker::measure_recording(RowId recording, int pick_up_cylinder) {
    std::optional<VisitPlanSettings> plan;
    if (guided_) plan = guided_->settings();
    job_.start(kMeasuring,
               [this, recording, pick_up_cylinder, folder = state_.case_folder, matters = state_.settle.matters_rpm,
                plan = std::move(plan)](Job::Ticket& ticket) -> Job::Outcome {
                   // A hand of its own on the case: the desk goes on with its.
                   auto book = Casebook::open(folder, Casebook::Access::write);
                   if (!book) return [this, e = book.error()] { fault(e); };
                   const auto row = book.value().recording(recording);
                   if (!row) return [this, e = row.error()] { fault(e); };
                   auto list = measurements_of_bay(book.value(), recording, matters, plan ? &*plan : nullptr);
                   if (!list) return [this, e = list.error()] { fault(e); };
                   for (auto& what : list.value())
                       if (what.kind == "balance" && pick_up_cylinder > 0) {
                           what.settings["reference_channel"] = kPickUpChannel;
                           what.settings["reference_cylinder"] = pick_up_cylinder;
                       }
                   const auto stored =
                       measure_and_store_all(book.value(), list.value(), [&](double share) { ticket.at(share); });
                   if (!stored) return [this, e = stored.error()] { fault(e); };
                   return [this, folder, visit = row.value().visit] { results_stored(folder, visit); };
               });
}

void Desk::Worker::results_stored(const std::string& folder, RowId visit) {
    if (!case_ || state_.case_folder != folder) return;
    renew_kept();
    if (!run_)
        show_kept(visit);
    else if (const auto* kept = state_.kept ? state_.kept->find(visit) : nullptr)
        show_surveys(*kept);
}

void Desk::Worker::on(const ask::Compare& c) {
    if (!case_) return fault({"no case is open", "Open one on page 1."});
    job_.start("comparing the visits", [this, c, folder = state_.case_folder](Job::Ticket& ticket) -> Job::Outcome {
        const auto book = Casebook::open(folder, Casebook::Access::read);
        if (!book) return [this, e = book.error()] { fault(e); };
        gui::CompareState state;
        state.before_visit = c.before;
        state.after_visit = c.after;
        const auto request = compare_request(book.value(), c.before, c.after, c.anyway);
        if (!request) {
            const auto before = book.value().visit(c.before);
            const auto after = book.value().visit(c.after);
            state.refusal = request.error().what;
            state.anyway = before && after && cold_against_warm(before.value(), after.value());
        } else {
            ListenSinks sinks;
            sinks.progress = [&](std::uint64_t done, std::uint64_t total) {
                ticket.at(static_cast<double>(done) / static_cast<double>(std::max<std::uint64_t>(total, 1)));
            };
            const auto outcome = compare_visits(request.value(), sinks);
            if (const auto* failure = std::get_if<VisitFailure>(&outcome)) {
                state.refusal = failure->error.what;
                state.anyway = failure->can_be_overruled;
            } else {
                state = state_of(std::get<CompareView>(outcome), c.before, c.after);
            }
        }
        return [this, folder, made = std::make_shared<const gui::CompareState>(std::move(state))] {
            if (state_.case_folder == folder) state_.compare = made;
        };
    });
}

void Desk::Worker::on(const ask::WriteReport&) {
    if (spray_under_way())
        return fault({"the spray test is still running", "Finish it first, or stop it (Esc); then write the report."});
    if (!case_ && !(state_.sound.mode == gui::Mode::replay && !run_ && !recording_path_.empty()))
        return fault({"there is nothing to report yet", "Start a sound or open a case on page 1."});
    std::string replayed;
    std::vector<Mark> marks;
    if (!case_) {  // a replayed recording becomes a case first
        replayed = recording_path_;
        for (const auto& b : state_.bursts) marks.push_back({b.time_s, b.spot, {}, 0});
        if (const auto made = ensure_case(); !made) return fault(made.error());
    }
    keep_all();
    RowId visit = 0;
    if (!replayed.empty()) {
        const auto today = case_->visit();
        if (!today) return fault(today.error());
        visit = today.value();
    }
    state_.written.clear();
    std::optional<std::pair<RowId, RowId>> compared;
    if (state_.compare && !state_.compare->lines.empty())
        compared = {state_.compare->before_visit, state_.compare->after_visit};
    job_.start(
        "writing the report",
        [this, folder = state_.case_folder, compared, replayed, marks = std::move(marks),
         visit](Job::Ticket& ticket) -> Job::Outcome {
            auto book = Casebook::open(folder, Casebook::Access::write);
            if (!book) return [this, e = book.error()] { fault(e); };
            if (!replayed.empty())
                if (const auto taken = book.value().import_recording(visit, RecordingKind::bay, replayed, 1, marks);
                    !taken)
                    return [this, e = taken.error()] { fault(e); };
            if (const auto done = measure_rest(book.value(), [&](double share) { ticket.at(0.5 * share); }); !done)
                return [this, e = done.error()] { fault(e); };
            auto report = report_of(book.value());
            if (!report) return [this, e = report.error()] { fault(e); };
            ListenSinks sinks;
            sinks.progress = [&](std::uint64_t done, std::uint64_t total) {
                ticket.at(0.5 +
                          0.45 * static_cast<double>(done) / static_cast<double>(std::max<std::uint64_t>(total, 1)));
            };
            if (const auto added = add_compare(book.value(), compared, sinks, report.value()); !added)
                return [this, e = added.error()] { fault(e); };
            const auto path = (fs::path{folder} / kReportFile).string();
            const auto written = write_text(path, report_html(report.value()));
            if (!written) return [this, e = written.error()] { fault(e); };
            return [this, folder, path] {
                if (state_.case_folder != folder) return;
                state_.written = {path};
                renew_kept();
            };
        });
}

}  // namespace idlehark
