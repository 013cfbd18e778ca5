#include "src/desk/desk_worker.hpp"
#include "src/visit/guided_verdict.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace ask = gui::ask;

namespace {
constexpr int kRounds = 3;  // bursts a spot gets before the forecast calls it usual
constexpr double kLockPatience_s = 3.0;
}  // namespace

void Desk::Worker::begin_visit() {
    if (guided_ || !run_ || state_.map.spots.empty() || state_.sound.mode == gui::Mode::replay) return;
    VisitConfig config;
    for (const auto& s : state_.map.spots) config.spots.push_back(s.spot);
    SprayVisit visit{config};
    visit.begin_recording(std::filesystem::path{recording_path_}.filename().string(), 0.0);
    visit.time(state_.sound.now_s);
    for (std::size_t i = 0; i < gui::kGatePoints; ++i)
        if (state_.gate.answers[i]) visit.answer(i, *state_.gate.answers[i]);
    VisitPlanSettings settings;
    settings.map = state_.map;
    settings.idle_control = state_.engine.idle_control;
    settings.matters_rpm = state_.settle.matters_rpm;
    settings.passes = together_;
    settings.spot_odds = spot_odds();
    guided_.emplace(std::move(visit), std::move(settings), true);
    guided_->earlier(readings_);  // of this sound, from before there was a map
    prompts_said_ = 0;
    show_visit();
}

void Desk::Worker::renew_spots() {
    const auto before = state_.spots;
    state_.spots.clear();
    for (const auto& s : state_.map.spots) {
        gui::SpotView v;
        const auto it =
            std::find_if(before.begin(), before.end(), [&](const gui::SpotView& b) { return b.place.spot == s.spot; });
        if (it != before.end()) {
            if (state_.visit_shown != 0 || (guided_ && !guided_->visit().record().bursts.empty())) v = *it;
            v.hiss_db = it->hiss_db;
            v.hiss_low_db = it->hiss_low_db;
            v.hiss_high_db = it->hiss_high_db;
            v.hiss_verdict = it->hiss_verdict;
            v.hiss_stands_out = it->hiss_stands_out;
        }
        v.place = s;
        v.hiss_taken = v.hiss_db || hiss_takes_.contains(s.spot);
        state_.spots.push_back(std::move(v));
    }
    state_.injectors.resize(static_cast<std::size_t>(state_.engine.cylinders));
    for (std::size_t c = 0; c < state_.injectors.size(); ++c) {
        state_.injectors[c].cylinder = static_cast<int>(c) + 1;
        state_.injectors[c].taken = state_.injectors[c].judged || injector_takes_.contains(static_cast<int>(c) + 1);
    }
}

std::vector<SpraySpot> Desk::Worker::spray_spots() const {
    std::vector<SpraySpot> spots;
    for (const auto& s : state_.map.spots) spots.push_back({.id = s.spot, .place = Place{s.x_mm, s.y_mm}});
    return spots;
}

std::map<std::string, double> Desk::Worker::spot_odds() const {
    std::map<std::string, double> odds;
    for (const auto& s : state_.spots)
        if (s.hiss_stands_out) odds[s.place.spot] = kStandsOutOdds;
    return odds;
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
    thinking_.start(
        "the quiet idle",
        [this, quiet = std::move(quiet), spots = spray_spots(), config, start = starts_](Job::Ticket&) -> Job::Outcome {
            const auto result = evaluate_spray(quiet, {}, spots, config);
            const double smallest = smallest_provable_rpm(quiet, static_cast<int>(spots.size()), kRounds, config);
            return [this, result, smallest, start] {
                if (start != starts_) return;
                auto& settle = state_.settle;
                settle.idle_rpm = result.idle_rpm;
                settle.hunting_rpm = result.hunting_rpm;
                settle.smallest_provable_rpm = smallest;
                settle.done = true;
            };
        });
}

void Desk::Worker::show_standing(const plan::PlanStep& step) {
    for (std::size_t i = 0; i < state_.spots.size() && i < step.all.size(); ++i) {
        auto& s = state_.spots[i];
        const auto& p = step.all[i];
        s.bursts = p.bursts;
        s.change_rpm = p.change_rpm;
        s.low_rpm = p.low_rpm;
        s.high_rpm = p.high_rpm;
        s.decided = p.decision != plan::SpotDecision::open;
        s.verdict.reset();
        if (p.bursts + p.passes > 0 || s.decided) s.verdict = verdict_of(p.decision);
    }
}

void Desk::Worker::show_visit() {
    auto& s = state_.spray;
    for (auto& spot : state_.spots) spot.prompted = false;
    if (!guided_ || !spray_wanted_) {
        s = {};
        s.prompts = prompter_.style();
        s.together = together_;
        return;
    }
    const auto& visit = guided_->visit();
    const auto v = visit.state();
    if (v.prompt != prompts_said_) {
        prompts_said_ = v.prompt;
        if (const auto said = prompter_.say(v.spoken, v.asks_for_spray()); !said) fault(said.error());
    }
    s.prompts = prompter_.style();
    s.together = together_;
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
            s.wait_s = (1.0 - v.settled) * visit.config().settle_s;
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
            if (!visit.record().bursts.empty())
                s.wait_s = std::max(0.0, visit.record().bursts.back().time_s + visit.config().answer_s - visit.now_s());
            break;
        case VisitStage::done:
            s.phase = gui::SprayPhase::finished;
            break;
        case VisitStage::stopped:
            s.phase = gui::SprayPhase::stopped;
            break;
    }
    if (visit.paused() && s.phase != gui::SprayPhase::finished && s.phase != gui::SprayPhase::stopped) {
        s.phase = gui::SprayPhase::paused;
        s.pause = gui::PauseReason::by_hand;
    }
    auto asked = v.asked;
    if (asked.empty() && v.stage == VisitStage::answering && !visit.record().bursts.empty())
        asked = visit.record().bursts.back().spots;
    s.spot = fmt::format("{}", fmt::join(asked, ", "));
    s.spots = asked;
    s.spot_name.clear();
    for (auto& spot : state_.spots)
        if (std::find(asked.begin(), asked.end(), spot.place.spot) != asked.end()) {
            spot.prompted = s.phase == gui::SprayPhase::prompt;
            s.spot_name += (s.spot_name.empty() ? "" : "; ") + spot.place.name;
        }
    state_.bursts.clear();
    for (const auto& b : visit.record().bursts)
        if (b.counts())
            state_.bursts.push_back({b.found_onset_s.value_or(b.time_s), b.found_duration_s.value_or(std::nan("")),
                                     fmt::format("{}", fmt::join(b.spots, ", "))});
    // Each burst's mark is on the disk as soon as it is known.
    for (; marks_kept_ < visit.record().bursts.size(); ++marks_kept_) {
        const auto& b = visit.record().bursts[marks_kept_];
        if (b.sham || !run_) continue;
        for (const auto& spot : b.spots)
            if (const auto kept = run_->mark(b.time_s, spot); !kept) fault(kept.error());
    }
    if (case_) check_kept(case_->keep_guided(visit.record()));
}

void Desk::Worker::on(const ask::AlternativesSeen&) { state_.gate.alternatives_seen = true; }

void Desk::Worker::on(const ask::AnswerGate& c) {
    auto& gate = state_.gate;
    if (!gate.alternatives_seen) return;
    gate.answers.at(static_cast<std::size_t>(c.point)) = c.yes;
    gate.open = std::all_of(gate.answers.begin(), gate.answers.end(), [](const auto& a) { return a == true; });
    if (guided_) guided_->visit().answer(static_cast<std::size_t>(c.point), c.yes);
    show_visit();
}

void Desk::Worker::on(const ask::SetMatters& c) {
    state_.settle.matters_rpm = c.rpm;
    if (guided_) guided_->matters(c.rpm);
}

void Desk::Worker::on(const ask::SetPasses& c) {
    if (guided_ && !guided_->visit().record().bursts.empty()) return;
    together_ = c.together;
    if (guided_) guided_->in_passes(together_);
    show_visit();
}

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
    if (!guided_ || !run_ || !spray_wanted_) return;
    auto& visit = guided_->visit();
    const auto v = visit.state();
    auto* practice = run_->practice();
    if (v.sham && v.stage == VisitStage::prompting) {
        // Simulated hands do as the key says, against better advice too: the hiss of a sham that was none tells of it.
        if (practice) practice->spray(v.asked);
        return;
    }
    // The newest sound heard was in the air a moment before; the key is nearer to now.
    const auto before = visit.record().bursts.size();
    visit.key(state_.sound.now_s);
    if (practice && visit.record().bursts.size() > before) practice->spray(v.asked);
    show_visit();
}

void Desk::Worker::on(const ask::SprayHere& c) {
    auto* practice = run_ ? run_->practice() : nullptr;
    if (!practice || !guided_ || !spray_wanted_ || !state_.gate.open) return;
    const auto v = guided_->visit().state();
    if (v.sham && v.asked == std::vector{c.spot}) return on(ask::Sprayed{});
    practice->spray({c.spot});
    guided_->visit().key(state_.sound.now_s, c.spot);
    show_visit();
}

/// What was sprayed can be corrected while the sound runs: afterwards marks and verdict are on the disk.
bool Desk::Worker::correctable() {
    if (!guided_ || !spray_wanted_) return false;
    if (!run_) fault({"the test is over: its bursts stand as they are", "Correct a burst before the test ends."});
    return run_ != nullptr;
}

bool Desk::Worker::spray_under_way() const {
    if (!run_ || !guided_ || !spray_wanted_) return false;
    const auto stage = guided_->visit().state().stage;
    return stage != VisitStage::done && stage != VisitStage::stopped;
}

void Desk::Worker::on(const ask::SprayedElsewhere& c) {
    if (correctable()) guided_->visit().wrong_spot(c.spot);
    show_visit();
}

void Desk::Worker::on(const ask::RepeatSpot&) {
    if (guided_ && spray_wanted_) guided_->visit().repeat();
    show_visit();
}

void Desk::Worker::on(const ask::SkipSpot&) {
    if (guided_ && spray_wanted_) guided_->visit().skip();
    show_visit();
}

void Desk::Worker::on(const ask::UndoBurst&) {
    if (correctable()) guided_->visit().undo();
    show_visit();
}

void Desk::Worker::on(const ask::SetPrompts& c) {
    prompter_.choose(c.style);
    show_visit();
}

void Desk::Worker::on(const ask::PauseSpray& c) {
    if (!guided_ || !spray_wanted_) return;
    if (c.pause) prompter_.hush();
    guided_->visit().pause(c.pause);
    show_visit();
}

void Desk::Worker::on(const ask::FinishSpray&) {
    if (run_) {
        if (guided_ && guided_->visit().state().stage != VisitStage::done) guided_->visit().stop();
        end_run("the test is over");
        show_visit();
    }
    if (guided_) return conclude();
    std::vector<Mark> marks;
    for (const auto& b : state_.bursts) marks.push_back({.time_s = b.time_s, .spot = b.spot, .extra = {}, .line = 0});
    if (!marks.empty() && !recording_path_.empty()) judge_recording(recording_path_, std::move(marks));
}

/// The visit's own standing is the verdict: it allows for every look that was taken on the way.
void Desk::Worker::conclude() {
    if (!guided_->step()) return;
    auto verdict =
        guided_verdict(*guided_->step(), guided_->visit().record(), guided_->readings(), guided_->settings());
    if (state_.sound.gaps > 0) verdict.cautions.push_back(fmt::format("{} gaps in the sound", state_.sound.gaps));
    show_verdict(verdict);
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
        return [this, path = request.listen.path, outcome = std::move(outcome)] {
            if (run_ || case_ || recording_path_ != path) return;  // something else is on the screen by now
            if (const auto* failure = std::get_if<SprayFailure>(&outcome)) return fault(failure->error);
            show_verdict(std::get<SprayAnswer>(outcome).view);
        };
    });
}

void Desk::Worker::show_verdict(const VerdictView& verdict) {
    state_.headline = headline(verdict, true);
    state_.cautions = verdict.cautions;
    state_.notes = verdict.notes;
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
    lead_to(gui::Stage::report);
}

}  // namespace idlehark
