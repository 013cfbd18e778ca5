#include "src/desk/desk_worker.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace ask = gui::ask;

namespace {
constexpr int kRounds = 3;  // bursts a spot gets before the forecast calls it usual
constexpr int kMostPerSpot = 5;
constexpr int kLeastToDecide = 2;  // one burst can miss
constexpr double kLockPatience_s = 3.0;
}  // namespace

void Desk::Worker::begin_visit() {
    if (visit_ || !run_ || state_.map.spots.empty() || state_.sound.mode == gui::Mode::replay) return;
    VisitConfig config;
    for (const auto& s : state_.map.spots) config.spots.push_back(s.spot);
    config.most_per_spot = kMostPerSpot;
    visit_.emplace(config);
    visit_->begin_recording(recording_path_, 0.0);
    visit_->time(state_.sound.now_s);
    for (std::size_t i = 0; i < gui::kGatePoints; ++i)
        if (state_.gate.answers[i]) visit_->answer(i, *state_.gate.answers[i]);
    show_visit();
}

void Desk::Worker::renew_spots() {
    const auto before = state_.spots;
    state_.spots.clear();
    for (const auto& s : state_.map.spots) {
        gui::SpotView v;
        const auto it =
            std::find_if(before.begin(), before.end(), [&](const gui::SpotView& b) { return b.place.spot == s.spot; });
        if (it != before.end() && visit_ && !visit_->record().bursts.empty()) v = *it;
        v.place = s;
        v.hiss_taken = hiss_takes_.contains(s.spot);
        state_.spots.push_back(std::move(v));
    }
    state_.injectors.resize(static_cast<std::size_t>(state_.engine.cylinders));
    for (std::size_t c = 0; c < state_.injectors.size(); ++c) {
        state_.injectors[c].cylinder = static_cast<int>(c) + 1;
        state_.injectors[c].taken = injector_takes_.contains(static_cast<int>(c) + 1);
    }
}

std::vector<SpraySpot> Desk::Worker::spray_spots() const {
    std::vector<SpraySpot> spots;
    for (const auto& s : state_.map.spots) spots.push_back({.id = s.spot, .place = Place{s.x_mm, s.y_mm}});
    return spots;
}

std::vector<SprayBurst> Desk::Worker::bursts_so_far() const {
    std::vector<SprayBurst> bursts;
    for (const auto& b : visit_->record().bursts) {
        if (b.undone || b.sham) continue;
        for (const auto& id : b.spots) {
            const auto it = std::find_if(state_.map.spots.begin(), state_.map.spots.end(),
                                         [&](const MapSpot& s) { return s.spot == id; });
            if (it == state_.map.spots.end()) continue;
            bursts.push_back({.time_s = b.time_s,
                              .spot = static_cast<std::size_t>(it - state_.map.spots.begin()),
                              .found_onset_s = b.found_onset_s,
                              .found_duration_s = b.found_duration_s});
        }
    }
    return bursts;
}

void Desk::Worker::feed_settle() {
    auto& s = state_.settle;
    if (s.done || readings_.empty()) return;
    // The quiet stretch: followed without a break.
    const auto& last = readings_.back();
    if (!last.locked) {
        if (last.time_s - quiet_from_s_ > s.heard_s + kLockPatience_s) {
            quiet_from_s_ = last.time_s;
            s.heard_s = 0.0;
        }
        return;
    }
    s.heard_s = last.time_s - quiet_from_s_;
    if (s.heard_s < s.needed_s || state_.spots.empty() || thinking_.running()) return;
    std::vector<RpmReading> quiet;
    for (const auto& r : readings_)
        if (r.time_s >= quiet_from_s_) quiet.push_back(r);
    const SprayTestConfig config{.matters_rpm = s.matters_rpm, .idle_control = state_.engine.idle_control};
    thinking_.start("the quiet idle",
                    [this, quiet = std::move(quiet), spots = spray_spots(), config](Job::Ticket&) -> Job::Outcome {
                        const auto result = evaluate_spray(quiet, {}, spots, config);
                        const double smallest =
                            smallest_provable_rpm(quiet, static_cast<int>(spots.size()), kRounds, config);
                        return [this, result, smallest] {
                            auto& settle = state_.settle;
                            settle.idle_rpm = result.idle_rpm;
                            settle.hunting_rpm = result.hunting_rpm;
                            settle.smallest_provable_rpm = smallest;
                            settle.done = true;
                        };
                    });
}

void Desk::Worker::plan_next() {
    if (thinking_.running()) return;
    const SprayTestConfig config{.matters_rpm = state_.settle.matters_rpm, .idle_control = state_.engine.idle_control};
    thinking_.start("the evidence so far",
                    [this, readings = readings_, bursts = bursts_so_far(), spots = spray_spots(),
                     config](Job::Ticket&) -> Job::Outcome {
                        const auto result = evaluate_spray(readings, bursts, spots, config);
                        return [this, result] {
                            if (!visit_ || !visit_->wants_plan()) return;
                            show_results(result.spots);
                            auto plan = next_of(state_.spots);
                            plan.smallest_provable_rpm = state_.settle.smallest_provable_rpm;
                            if (!visit_->take(plan)) state_.spray.notice = visit_->state().notice;
                            show_visit();
                        };
                    });
}

VisitPlan Desk::Worker::next_of(const std::vector<gui::SpotView>& spots) const {
    VisitPlan plan;
    const gui::SpotView* best = nullptr;
    for (const auto& s : spots) {
        if (s.decided) {
            plan.decided.push_back(s.place.spot);
            continue;
        }
        if (visit_->forbidden(s.place.spot)) continue;
        plan.at_most_more += kMostPerSpot - visit_->bursts_on(s.place.spot);
        if (!best || visit_->bursts_on(s.place.spot) < visit_->bursts_on(best->place.spot)) best = &s;
    }
    if (!best) {
        const bool all = plan.decided.size() == spots.size();
        plan.outcome = all ? VisitPlan::Outcome::decided : VisitPlan::Outcome::out_of_limits;
        plan.why = all ? "Every spot is decided." : "What is left has had all the spray it may get.";
        return plan;
    }
    plan.spots = {best->place.spot};
    return plan;
}

void Desk::Worker::show_results(const std::vector<SpotResult>& results) {
    for (std::size_t i = 0; i < state_.spots.size() && i < results.size(); ++i) {
        auto& s = state_.spots[i];
        const auto& r = results[i];
        s.bursts = r.bursts;
        s.change_rpm = r.change_rpm;
        s.low_rpm = r.low_rpm;
        s.high_rpm = r.high_rpm;
        if (r.bursts > 0) s.verdict = r.verdict;
        s.decided = r.bursts >= kLeastToDecide && r.verdict != SprayVerdict::undecided;
    }
}

void Desk::Worker::show_visit() {
    auto& s = state_.spray;
    for (auto& spot : state_.spots) spot.prompted = false;
    if (!visit_ || !spray_wanted_) {
        s = {};
        return;
    }
    const auto v = visit_->state();
    s.notice = v.notice;
    s.why = v.why;
    s.sham = v.sham;
    s.wait_s = v.wait_s;
    s.bursts = v.bursts;
    s.most_bursts = v.bursts + v.at_most_more;
    s.decided = static_cast<int>(std::count_if(state_.spots.begin(), state_.spots.end(),
                                               [](const gui::SpotView& spot) { return spot.decided; }));
    s.pause = gui::PauseReason::none;
    const auto waits_for = [&](VisitWait w) { return std::find(v.waits.begin(), v.waits.end(), w) != v.waits.end(); };
    switch (v.stage) {
        case VisitStage::gate:
            s.phase = gui::SprayPhase::shut;
            break;
        case VisitStage::settling:
            s.phase = gui::SprayPhase::settling;
            s.wait_s = (1.0 - v.settled) * visit_->config().settle_s;
            break;
        case VisitStage::planning:
        case VisitStage::waiting:
            s.phase = gui::SprayPhase::drying;
            if (waits_for(VisitWait::lock_lost)) s.pause = gui::PauseReason::lock_lost;
            if (waits_for(VisitWait::signal_gap)) s.pause = gui::PauseReason::sound_lost;
            if (v.wait_s <= 0.0 && waits_for(VisitWait::not_at_baseline)) s.pause = gui::PauseReason::not_at_baseline;
            if (s.pause != gui::PauseReason::none) s.phase = gui::SprayPhase::paused;
            break;
        case VisitStage::prompting:
            s.phase = gui::SprayPhase::prompt;
            break;
        case VisitStage::answering:
            s.phase = gui::SprayPhase::answering;
            if (!visit_->record().bursts.empty())
                s.wait_s =
                    std::max(0.0, visit_->record().bursts.back().time_s + visit_->config().answer_s - visit_->now_s());
            break;
        case VisitStage::done:
            s.phase = gui::SprayPhase::finished;
            break;
        case VisitStage::stopped:
            s.phase = gui::SprayPhase::stopped;
            break;
    }
    if (paused_ && s.phase != gui::SprayPhase::finished && s.phase != gui::SprayPhase::stopped) {
        s.phase = gui::SprayPhase::paused;
        s.pause = gui::PauseReason::by_hand;
    }
    auto asked = v.asked;
    if (asked.empty() && v.stage == VisitStage::answering && !visit_->record().bursts.empty())
        asked = visit_->record().bursts.back().spots;
    s.spot = fmt::format("{}", fmt::join(asked, ", "));
    s.spot_name.clear();
    for (auto& spot : state_.spots)
        if (std::find(asked.begin(), asked.end(), spot.place.spot) != asked.end()) {
            spot.prompted = s.phase == gui::SprayPhase::prompt;
            s.spot_name += (s.spot_name.empty() ? "" : "; ") + spot.place.name;
        }
    state_.bursts.clear();
    for (const auto& b : visit_->record().bursts)
        if (!b.undone && !b.sham)
            state_.bursts.push_back({b.found_onset_s.value_or(b.time_s), b.found_duration_s.value_or(std::nan("")),
                                     fmt::format("{}", fmt::join(b.spots, ", "))});
    // Each burst's mark is on the disk as soon as it is known.
    for (; marks_kept_ < visit_->record().bursts.size(); ++marks_kept_) {
        const auto& b = visit_->record().bursts[marks_kept_];
        if (b.sham || !run_) continue;
        for (const auto& spot : b.spots)
            if (const auto kept = run_->mark(b.time_s, spot); !kept) fault(kept.error());
    }
}

void Desk::Worker::on(const ask::AlternativesSeen&) { state_.gate.alternatives_seen = true; }

void Desk::Worker::on(const ask::AnswerGate& c) {
    auto& gate = state_.gate;
    if (!gate.alternatives_seen) return;
    gate.answers.at(static_cast<std::size_t>(c.point)) = c.yes;
    gate.open = std::all_of(gate.answers.begin(), gate.answers.end(), [](const auto& a) { return a == true; });
    if (visit_) visit_->answer(static_cast<std::size_t>(c.point), c.yes);
    show_visit();
}

void Desk::Worker::on(const ask::SetMatters& c) { state_.settle.matters_rpm = c.rpm; }

void Desk::Worker::on(const ask::StartSpray&) {
    if (!state_.gate.open)
        return fault({"the points of caution are not all confirmed for this visit", "Page 4 asks them."});
    if (!run_) return fault({"no sound is running", "Start it on page 1."});
    if (state_.map.spots.empty()) return fault({"the map has no spots", "Page 3 takes them."});
    if (state_.sound.mode == gui::Mode::replay)
        return fault({"a recording is being replayed: its bursts are made already", "Page 10 shows its verdict."});
    begin_visit();
    spray_wanted_ = true;
    show_visit();
}

void Desk::Worker::on(const ask::Sprayed&) {
    if (!visit_ || !run_ || state_.spray.phase != gui::SprayPhase::prompt) return;
    const auto asked = visit_->state().asked;
    const bool sham = visit_->state().sham;
    if (auto* practice = run_->practice(); practice && !sham) practice->spray(asked);
    // The newest sound heard was in the air a moment before; the key is nearer to now.
    if (!sham) visit_->key(state_.sound.now_s);
    show_visit();
}

void Desk::Worker::on(const ask::SprayedElsewhere& c) {
    if (visit_) visit_->wrong_spot(c.spot);
    show_visit();
}

void Desk::Worker::on(const ask::RepeatSpot&) {
    if (visit_ && spray_wanted_) visit_->repeat();
    show_visit();
}

void Desk::Worker::on(const ask::SkipSpot&) {
    if (visit_ && spray_wanted_) visit_->skip();
    show_visit();
}

void Desk::Worker::on(const ask::UndoBurst&) {
    if (visit_ && spray_wanted_) visit_->undo();
    show_visit();
}

void Desk::Worker::on(const ask::PauseSpray& c) {
    paused_ = c.pause && spray_wanted_;
    show_visit();
}

void Desk::Worker::on(const ask::FinishSpray&) {
    if (run_) {
        if (visit_ && visit_->state().stage != VisitStage::done) visit_->stop();
        end_run("the test is over");
        show_visit();
    }
    std::vector<Mark> marks;
    if (visit_) {
        for (const auto& b : visit_->record().bursts)
            if (!b.undone && !b.sham)
                for (const auto& spot : b.spots)
                    marks.push_back(
                        {.time_s = b.found_onset_s.value_or(b.time_s), .spot = spot, .extra = {}, .line = 0});
    } else {
        for (const auto& b : state_.bursts)
            marks.push_back({.time_s = b.time_s, .spot = b.spot, .extra = {}, .line = 0});
    }
    if (!marks.empty() && !recording_path_.empty()) judge_recording(recording_path_, std::move(marks));
}

void Desk::Worker::judge_recording(const std::string& path, std::vector<Mark> marks) {
    std::sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) { return a.time_s < b.time_s; });
    SprayRequest request;
    request.listen = {.path = path, .channel = 1, .engine = state_.engine, .hop_s = 0.1};
    if (!state_.map.spots.empty()) request.map = state_.map;
    request.marks = std::move(marks);
    request.marks_file = path;
    request.matters_rpm = state_.settle.matters_rpm;
    job_.start("judging the recording", [this, request](Job::Ticket& ticket) -> Job::Outcome {
        ListenSinks sinks;
        sinks.progress = [&](std::uint64_t done, std::uint64_t total) {
            ticket.at(0.95 * static_cast<double>(done) / static_cast<double>(std::max<std::uint64_t>(total, 1)));
        };
        auto outcome = judge_spray(request, sinks);
        return [this, outcome = std::move(outcome)] {
            if (const auto* failure = std::get_if<SprayFailure>(&outcome)) return fault(failure->error);
            show_verdict(std::get<SprayAnswer>(outcome).view);
        };
    });
}

void Desk::Worker::show_verdict(VerdictView verdict) {
    state_.headline = headline(verdict, true);
    state_.cautions = verdict.cautions;
    state_.notes = verdict.notes;
    std::vector<SpotResult> results;
    for (auto& spot : state_.spots) {
        const auto it = std::find_if(verdict.spots.begin(), verdict.spots.end(),
                                     [&](const SpotRow& r) { return r.spot == spot.place.spot; });
        if (it == verdict.spots.end()) continue;
        spot.bursts = it->bursts;
        spot.change_rpm = it->change_rpm;
        spot.low_rpm = it->low_rpm;
        spot.high_rpm = it->high_rpm;
        if (it->bursts > 0) spot.verdict = it->verdict;
        spot.decided = it->bursts > 0 && it->verdict != SprayVerdict::undecided;
    }
    verdict_ = std::move(verdict);
    lead_to(gui::Stage::report);
}

}  // namespace idlehark
