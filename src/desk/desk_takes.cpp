#include "src/analysis/hiss_check.hpp"
#include "src/analysis/injector_session.hpp"
#include "src/desk/desk_worker.hpp"

#include <algorithm>
#include <charconv>

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
    if (state_.sound.mode == gui::Mode::practice && run_)
        return fault({"the practice bay has no probe", "Stop it first (Esc)."});
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

void Desk::Worker::on(const ask::TakeFile& c) {
    if (c.injector)
        injector_takes_[number_of(c.place)] = c.path;
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
                        spot.hiss_stands_out = row.figures.verdict == HissVerdict::stands_out;
                    }
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
        }
}

void Desk::Worker::on(const ask::Compare&) {
    fault({"the window cannot compare cases itself yet",
           "The command does: idlehark compare BEFORE AFTER --engine engine.json, with the two recordings."});
}

}  // namespace idlehark
