#include "gui/flow/sentence.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace idlehark::gui {

namespace {

/// "7, 8 and 9"
std::string together(const std::vector<std::string>& spots, const Words& say) {
    std::string all = spots.front();
    for (std::size_t i = 1; i + 1 < spots.size(); ++i) all += ", " + spots[i];
    return spots.size() > 1 ? say(Word::list_and, all, spots.back()) : all;
}

std::string spray_step(const ViewState& view, const Words& say) {
    const auto& s = view.spray;
    switch (s.phase) {
        case SprayPhase::shut:
            return say(view.gate.open ? Word::next_spray_ready : Word::next_spray_shut);
        case SprayPhase::settling:
            return say(Word::next_settle, s.wait_s);
        case SprayPhase::prompt:
            if (!prompts_spray(view)) return say(Word::next_spray_shut);
            if (s.sham) return say(Word::next_spray_sham, s.spot);
            if (s.spots.size() > 1) return say(Word::next_spray_together, together(s.spots, say));
            return say(Word::next_spray_now, s.spot, say.known(s.spot_name));
        case SprayPhase::bursting:
            return say(Word::next_spray_bursting, s.spot);
        case SprayPhase::answering:
            return say(Word::next_spray_answer, s.spot, s.wait_s);
        case SprayPhase::drying:
            return say(Word::next_spray_dry, s.wait_s);
        case SprayPhase::paused:
            switch (s.pause) {
                case PauseReason::lock_lost:
                    return say(Word::next_spray_paused_lock);
                case PauseReason::not_at_baseline:
                    return say(Word::next_spray_paused_base);
                case PauseReason::sound_lost:
                    return say(Word::next_spray_paused_sound);
                case PauseReason::by_hand:
                case PauseReason::none:
                    break;
            }
            return say(Word::next_spray_paused_hand);
        case SprayPhase::finished:
            return say(Word::next_spray_done);
        case SprayPhase::stopped:
            break;
    }
    return say(Word::next_spray_stopped);
}

std::string gate_step(const GateView& gate, const Words& say) {
    if (gate.open) return say(Word::next_gate_open);
    if (std::any_of(gate.answers.begin(), gate.answers.end(), [](const auto& a) { return a && !*a; }))
        return say(Word::next_gate_no);
    if (!gate.alternatives_seen) return say(Word::next_gate_alternatives);
    return say(Word::next_gate,
               std::count_if(gate.answers.begin(), gate.answers.end(), [](const auto& a) { return a && *a; }));
}

std::string settle_step(const ViewState& view, const Words& say) {
    if (!view.sound.running && !view.settle.done) return say(Word::next_choose_sound);
    if (!view.settle.done) {
        const double left_s = view.settle.needed_s - view.settle.heard_s;
        if (left_s > 0.0) return say(Word::next_settle, left_s);
        return say(view.map.spots.empty() ? Word::next_settle_map : Word::next_settle_reckons);
    }
    if (std::isnan(view.settle.smallest_provable_rpm)) return say(Word::next_settle_unknown);
    return say(Word::next_settle_done, view.settle.smallest_provable_rpm);
}

}  // namespace

bool test_runs(const ViewState& view) noexcept {
    return view.spray.phase != SprayPhase::shut && view.spray.phase != SprayPhase::finished &&
           view.spray.phase != SprayPhase::stopped;
}

bool prompts_spray(const ViewState& view) noexcept { return view.gate.open && view.spray.phase == SprayPhase::prompt; }

std::string next_step(const ViewState& view, Stage looking_at, const Words& say) {
    if (test_runs(view)) return spray_step(view, say);
    if (view.take.running && view.take.kind == TakeKind::idle)
        return say(Word::next_take_idle, view.take.needed_s - view.take.done_s);
    if (view.take.running) return say(Word::next_take, view.take.place, view.take.needed_s - view.take.done_s);
    switch (looking_at) {
        case Stage::describe:
            if (!view.engine_fault.empty()) return say(Word::next_engine_fault, say.known(view.engine_fault));
            return say(view.sound.mode == Mode::none ? Word::next_choose_sound : Word::next_check_engine);
        case Stage::log:
            return say(Word::next_log);
        case Stage::map:
            if (view.spray.phase != SprayPhase::shut) return spray_step(view, say);  // it is over
            if (view.map.spots.empty()) return say(Word::next_map_empty);
            return say(view.sound.mode == Mode::practice ? Word::next_map_practice : Word::next_map,
                       view.map.spots.size());
        case Stage::gate:
            return gate_step(view.gate, say);
        case Stage::settle:
            return settle_step(view, say);
        case Stage::listen_first:
            return say(Word::next_listen);
        case Stage::spray:
            return spray_step(view, say);
        case Stage::injectors:
            return say(Word::next_injectors);
        case Stage::compare:
            return say(Word::next_compare);
        case Stage::report:
            break;
    }
    return view.written.empty() ? say(Word::next_report) : say(Word::next_report_done, view.written.front());
}

Word name_of(Stage stage) noexcept {
    static constexpr std::array<Word, kStages> kNames{
        Word::stage_describe,     Word::stage_log,   Word::stage_map,       Word::stage_gate,    Word::stage_settle,
        Word::stage_listen_first, Word::stage_spray, Word::stage_injectors, Word::stage_compare, Word::stage_report};
    return kNames[static_cast<std::size_t>(stage)];
}

Word question(GatePoint point) noexcept {
    static constexpr std::array<Word, kGatePoints> kQuestions{
        Word::gate_extinguisher,     Word::gate_no_fuel_smell, Word::gate_ignition_leads, Word::gate_outdoors,
        Word::gate_brake_and_chocks, Word::gate_clear_of_fan,  Word::gate_hot_parts,      Word::gate_eyes,
        Word::gate_label_read,       Word::gate_nobody_near};
    return kQuestions[static_cast<std::size_t>(point)];
}

Word word_of(SprayVerdict verdict) noexcept {
    switch (verdict) {
        case SprayVerdict::leak:
            return Word::verdict_leak;
        case SprayVerdict::overspray:
            return Word::verdict_overspray;
        case SprayVerdict::none_seen:
            return Word::verdict_none_seen;
        case SprayVerdict::undecided:
            break;
    }
    return Word::verdict_undecided;
}

}  // namespace idlehark::gui
