#include "src/analysis/hiss_check.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/desk/desk_worker.hpp"
#include "src/practice/practice_probe.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <charconv>
#include <utility>

namespace idlehark {

namespace ask = gui::ask;

namespace {

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

}  // namespace

void Desk::Worker::on(const ask::StartTake& c) {
    if (truth_) return take_in_practice(c);
    end_run("a take with the probe begins");
    const auto path = fresh_path(c.injector ? RecordingKind::injector : RecordingKind::hiss,
                                 (c.injector ? "injector-" : "hiss-") + plain(c.place));
    if (!path) return fault(path.error());
    begin_run(SoundRun::device("", start_of(path.value())), gui::Mode::live);
    if (!run_) return;
    guided_.reset();  // the microphone is elsewhere: no spray test from this sound
    take_file_ = path.value();
    take_injector_ = c.injector;
    state_.take = {.running = true, .place = c.place, .done_s = 0.0, .needed_s = 10.0};
}

/// The practice bay's probe is a second microphone: its take is simulated at once, kept and judged like any other.
void Desk::Worker::take_in_practice(const ask::StartTake& c) {
    if (job_.running()) return fault({"something else is being worked on", "Wait until it is done, or cancel it."});
    const auto spot = std::find_if(truth_->spots.begin(), truth_->spots.end(),
                                   [&](const sim::BaySpot& s) { return s.id == c.place; });
    if (!case_ || (!c.injector && spot == truth_->spots.end())) return;
    const auto index = static_cast<std::size_t>(spot - truth_->spots.begin());
    job_.start("the simulated probe listens", [this, c, index, bay = *truth_](Job::Ticket&) -> Job::Outcome {
        auto sound = c.injector ? probe_injector(bay, number_of(c.place)) : probe_spot(bay, index);
        return [this, c, sound = std::move(sound)] {
            if (const auto path = keep_simulated(c, sound); path)
                on(ask::TakeFile{c.injector, c.place, path.value()});
            else
                fault(path.error());
        };
    });
}

Result<std::string> Desk::Worker::keep_simulated(const ask::StartTake& c, const std::vector<float>& sound) {
    auto begun =
        case_->book().begin_recording(case_->visit(), c.injector ? RecordingKind::injector : RecordingKind::hiss,
                                      (c.injector ? "injector-" : "hiss-") + plain(c.place) + ".flac", 1, "");
    if (!begun) return begun.error();
    {
        auto writer = SoundWriter::open(begun.value().path, kProbeRate_hz);
        if (!writer) return writer.error();
        if (const auto written = writer.value().write(sound); !written) return written.error();
    }  // the file is closed: its fingerprint can be taken
    if (const auto closed = case_->book().finish_recording(begun.value().id); !closed) return closed.error();
    return begun.value().path;
}

void Desk::Worker::on(const ask::TakeFile& c) {
    if (c.injector)
        to_glance_[number_of(c.place)] = injector_takes_[number_of(c.place)] = c.path;
    else
        hiss_takes_[c.place] = c.path;
    renew_spots();
}

void Desk::Worker::on(const ask::StopTake&) {
    if (!state_.take.running) return;
    const bool whole = state_.take.done_s >= state_.take.needed_s;
    end_run(whole ? "the take is done" : "the take was ended early");
    if (whole && take_file_) on(ask::TakeFile{take_injector_, state_.take.place, *take_file_});
    take_file_.reset();
    state_.take = {};
}

void Desk::Worker::glance_at_next() {
    if (glance_.running() || to_glance_.empty()) return;
    const auto next = to_glance_.extract(to_glance_.begin());
    InjectorRequest request;
    request.engine = state_.engine;
    request.recordings.emplace_back(next.key(), next.mapped());
    glance_.start("the clicks", [this, request](Job::Ticket&) -> Job::Outcome {
        const auto outcome = judge_injectors(request, [](std::size_t) {});
        const auto* view = std::get_if<InjectorView>(&outcome);
        if (view == nullptr) return {};  // why not is said when the set is judged
        const auto& probe = view->injectors.front().probe;
        auto clicks = std::make_shared<const gui::ClickView>(
            gui::ClickView{probe.pair, probe.pair_from_ms, probe.pair_step_ms, probe.open_at_ms, probe.close_at_ms});
        return [this, clicks = std::move(clicks), cylinder = request.recordings.front().first] {
            for (auto& line : state_.injectors)
                if (line.cylinder == cylinder) line.clicks = clicks;
        };
    });
}

void Desk::Worker::on(const ask::JudgeHiss&) {
    HissRequest request;
    request.engine = state_.engine;
    for (const auto& [spot, path] : hiss_takes_) request.recordings.push_back({spot, path, 0.0});
    job_.start("comparing the spots", [this, request](Job::Ticket& ticket) -> Job::Outcome {
        const auto outcome = check_hiss(request, [&](std::size_t done) {
            ticket.at(static_cast<double>(done) / static_cast<double>(request.recordings.size()));
        });
        return [this, outcome] {
            if (const auto* failure = std::get_if<HissFailure>(&outcome)) return fault(failure->error);
            const auto& view = std::get<HissView>(outcome);
            state_.hiss_headline = view.headline;
            for (auto& spot : state_.spots)
                for (const auto& row : view.rows)
                    if (row.spot == spot.place.spot) {
                        spot.hiss_db = row.figures.level_db;
                        spot.hiss_low_db = row.figures.level_low_db;
                        spot.hiss_high_db = row.figures.level_high_db;
                        spot.hiss_verdict = row.figures.verdict;
                        spot.hiss_stands_out = row.figures.verdict == HissVerdict::stands_out;
                    }
            if (guided_) guided_->weigh(spot_odds());
        };
    });
}

void Desk::Worker::on(const ask::JudgeInjectors&) {
    InjectorRequest request;
    request.engine = state_.engine;
    for (const auto& [cylinder, path] : injector_takes_) request.recordings.emplace_back(cylinder, path);
    job_.start("comparing the injectors", [this, request](Job::Ticket& ticket) -> Job::Outcome {
        const auto outcome = judge_injectors(request, [&](std::size_t done) {
            ticket.at(static_cast<double>(done) / static_cast<double>(request.recordings.size()));
        });
        return [this, outcome] {
            if (const auto* failure = std::get_if<InjectorFailure>(&outcome)) return fault(failure->error);
            show_injectors(std::get<InjectorView>(outcome));
        };
    });
}

void Desk::Worker::show_injectors(const InjectorView& view) {
    state_.injectors_headline = headline(view);
    for (auto& line : state_.injectors)
        for (const auto& row : view.injectors) {
            const auto& r = row.reading;
            if (r.cylinder != line.cylinder) continue;
            line.rate_hz = r.rate_hz;
            line.expected_hz = r.expected_hz;
            line.missed_percent = r.missed_percent;
            line.jitter_us = r.jitter_us;
            line.level_db = r.level_db;
            line.verdict = word(r.verdict);
            line.judged = r.verdict;
        }
}

void Desk::Worker::on(const ask::Compare&) {
    fault({"the window cannot compare cases itself yet",
           "The command does: idlehark compare BEFORE AFTER --engine engine.json, with the two recordings."});
}

}  // namespace idlehark
