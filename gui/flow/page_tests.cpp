#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/plots/click_fold.hpp"
#include "gui/plots/level_meter.hpp"
#include "gui/plots/rows.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include <imgui.h>

namespace idlehark::gui {

namespace {

std::string rounded(double v, const char* format = "{:.0f}") {
    return std::isnan(v) ? std::string{"–"} : fmt::format(fmt::runtime(format), v);
}

void take_bar(const PageContext& c) {
    const auto& take = c.view.take;
    if (!take.running) return;
    ImGui::ProgressBar(static_cast<float>(std::clamp(take.done_s / take.needed_s, 0.0, 1.0)), {-1.0F, 30.0F * c.scale},
                       take.place.c_str());
    if (button(c, c.say(Word::take_stop))) c.send(ask::StopTake{});
}

void level_meter(const PageContext& c) {
    if (!c.plots || !c.view.sound.running) return;
    const auto& s = c.view.sound;
    const auto word = s.clipped || s.held_dbfs > kGoodTo_dbfs ? Word::level_loud
                      : s.held_dbfs < kGoodFrom_dbfs          ? Word::level_quiet
                                                              : Word::level_good;
    c.plots->place(38.0F, [meter = LevelMeter{.peak_dbfs = s.peak_dbfs,
                                              .held_dbfs = s.held_dbfs,
                                              .clipped = word == Word::level_loud,
                                              .word = c.say(word)}](Canvas& canvas, const Box& on) {
        draw_level_meter(canvas, on, meter);
    });
}

/// How much louder each spot hisses, as bars with their intervals, the loudest first.
void hiss_bars(const PageContext& c) {
    std::vector<ResultRow> rows;
    RowsScale scale{.bars = true, .low = -3.0, .high = 12.0};
    for (const auto& s : spots_with_results(c.view, c.say)) {
        if (!s.hiss_db || !s.hiss_verdict) continue;
        rows.push_back({.id = s.place.spot,
                        .name = c.say.known(s.place.name),
                        .value = *s.hiss_db,
                        .low = s.hiss_low_db,
                        .high = s.hiss_high_db,
                        .figure = c.say(Word::listen_louder, std::round(*s.hiss_db) + 0.0),
                        .finding = finding(*s.hiss_verdict),
                        .verdict = c.say(word_of(*s.hiss_verdict))});
        scale.low = std::min(scale.low, rows.back().value - 1.0);
        scale.high = std::max(scale.high, rows.back().value + 2.0);
    }
    if (rows.empty() || !c.plots) return;
    std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.value > b.value; });
    const auto height = static_cast<float>(kRowHeight * static_cast<double>(rows.size()));
    c.plots->place(
        height, [rows = std::move(rows), scale](Canvas& canvas, const Box& on) { draw_rows(canvas, on, rows, scale); });
}

/// Each injector's clicks cycle on cycle, as far as takes are there.
void injector_clicks(const PageContext& c) {
    constexpr float kPanel = 150.0F;
    constexpr float kPanelWidth = 198.0F;
    const auto& lines = c.view.injectors;
    const auto there = [](const InjectorLine& i) { return i.clicks != nullptr; };
    if (!c.plots || std::none_of(lines.begin(), lines.end(), there)) return;
    const float width = ImGui::GetContentRegionAvail().x / c.scale;
    const float across = std::clamp(std::floor(width / kPanelWidth), 1.0F, static_cast<float>(lines.size()));
    const float down = std::ceil(static_cast<float>(lines.size()) / across);
    std::vector<ClickFold> folds;
    for (const auto& i : lines) {
        ClickFold fold{.id = std::to_string(i.cylinder),
                       .finding = i.judged ? finding(*i.judged) : Finding::open,
                       .verdict = c.say(i.judged  ? word_of(*i.judged)
                                        : i.taken ? Word::injectors_taken
                                                  : Word::injectors_not_taken)};
        if (i.clicks) {
            fold.power = i.clicks->power;  // the view state outlives the frame
            fold.from_ms = i.clicks->from_ms;
            fold.step_ms = i.clicks->step_ms;
            if (i.judged != InjectorVerdict::silent) {  // whose clicks are a neighbour's
                fold.open_ms = i.clicks->open_ms;
                fold.close_ms = i.clicks->close_ms;
            }
            if (std::isfinite(fold.close_ms - fold.open_ms))
                fold.figure = fmt::format("{:.1f} ms", fold.close_ms - fold.open_ms);
        }
        folds.push_back(std::move(fold));
    }
    c.plots->place(kPanel * down,
                   [folds = std::move(folds)](Canvas& canvas, const Box& on) { draw_click_folds(canvas, on, folds); });
}

/// What is known of an injector, figure by figure.
std::vector<std::string> injector_figures(const InjectorLine& i, const Words& say) {
    if (!i.judged) return {i.taken ? say(Word::injectors_taken) : "–"};
    return {say(word_of(*i.judged)),
            fmt::format("{}/{} Hz", rounded(i.rate_hz, "{:.1f}"), rounded(i.expected_hz, "{:.1f}")),
            rounded(i.missed_percent, "{:.1f}") + " %", rounded(i.jitter_us) + " us",
            rounded(i.level_db, "{:+.1f}") + " dB"};
}

/// Behind the last widget if they have room there, else below it; never broken within one, as ImGui's own lines are.
void figures_in_row(const std::vector<std::string>& figures) {
    const auto width = [](const std::string& figure) { return ImGui::CalcTextSize(figure.c_str()).x; };
    float all = 0.0F;
    for (const auto& figure : figures) all += width(figure) + ImGui::GetStyle().ItemSpacing.x;
    bool beside = next_in_row(all);
    for (const auto& figure : figures) {
        if (&figure != &figures.front()) beside = next_in_row(width(figure)) && beside;
        if (beside) ImGui::AlignTextToFramePadding();
        ImGui::TextUnformatted(figure.c_str());
    }
}

void choose_passes(const PageContext& c) {
    ImGui::TextUnformatted(c.say(Word::passes));
    const bool together = c.view.spray.together;
    if (choice(c, c.say(Word::passes_alone), !together)) c.send(ask::SetPasses{false});
    next_in_row(ImGui::CalcTextSize(c.say(Word::passes_together)).x + 48.0F * c.scale);
    if (choice(c, c.say(Word::passes_together), together)) c.send(ask::SetPasses{true});
    if (together) paragraph(c.say(Word::passes_how));
}

void choose_prompts(const PageContext& c) {
    ImGui::TextUnformatted(c.say(Word::prompts));
    for (const auto& [word, style] : {std::pair{Word::prompts_off, Prompts::off},
                                      {Word::prompts_beep, Prompts::beep},
                                      {Word::prompts_spoken, Prompts::spoken}}) {
        if (choice(c, c.say(word), c.view.spray.prompts == style)) c.send(ask::SetPrompts{style});
        ImGui::SameLine();
    }
    ImGui::NewLine();
}

}  // namespace

void Flow::settle(const PageContext& c) {
    const auto& say = c.say;
    const auto& s = c.view.settle;
    title(c, say(Word::settle_title));
    if (!c.view.sound.running && !s.done) {
        warning(c, say(Word::settle_no_sound));
        if (button(c, say(Word::stage_describe), 0.0F, true)) c.go(Stage::describe);
        return;
    }
    if (!s.done) {
        ImGui::ProgressBar(static_cast<float>(std::clamp(s.heard_s / s.needed_s, 0.0, 1.0)), {-1.0F, 34.0F * c.scale},
                           "");
        paragraph(fmt::format("{:.0f} / {:.0f} s", std::min(s.heard_s, s.needed_s), s.needed_s));
    }
    level_meter(c);
    ImGui::Spacing();
    figure(c, say(Word::settle_idle), rounded(s.idle_rpm), say(Word::rpm));
    figure(c, say(Word::settle_hunting), std::isnan(s.hunting_rpm) ? "–" : fmt::format("±{:.1f}", s.hunting_rpm),
           say(Word::rpm));
    figure(c, say(Word::settle_smallest), rounded(s.smallest_provable_rpm, "{:.1f}"), say(Word::rpm));
    label(c, say(Word::settle_matters));
    int matters = static_cast<int>(s.matters_rpm);
    ImGui::SetNextItemWidth(140.0F * c.scale);
    if (whole_number("##matters", matters)) c.send(ask::SetMatters{static_cast<double>(std::clamp(matters, 1, 200))});
    if (s.done && s.smallest_provable_rpm > s.matters_rpm)
        warning(c, say(Word::settle_pointless));
    else if (s.done && !std::isnan(s.smallest_provable_rpm))
        paragraph(say(Word::settle_enough));
    go_on(c, Stage::listen_first);
}

void Flow::listen_first(const PageContext& c) {
    const auto& say = c.say;
    const BayMap& map = map_shown(c, Stage::listen_first);
    title(c, say(Word::listen_title));
    if (const auto found = hiss_sentence(c.view, say); found.empty()) {
        paragraph(say(Word::listen_how));
    } else {
        title(c, found.c_str());
        hiss_bars(c);
    }
    const bool practice = c.view.sound.mode == Mode::practice;
    if (practice) warning(c, say(Word::probe_practice));
    if (c.view.take.running) level_meter(c);
    {
        take_bar(c);
        if (selected_spot_.empty() && !map.spots.empty()) selected_spot_ = map.spots.front().spot;
        const bool can = !c.view.take.running && !selected_spot_.empty();
        if (can && button(c, say(Word::listen_here, selected_spot_), 0.0F, true, !practice || !c.view.job.running))
            c.send(ask::StartTake{false, selected_spot_});
        if (can && !practice) {
            ImGui::SameLine();
            if (button(c, say(Word::take_file))) {
                chooser_.open(FileChooser::Wanted::sound);
                chosen_ = [send = c.send, spot = selected_spot_](const std::string& path) {
                    send(ask::TakeFile{false, spot, path});
                };
            }
        }
    }
    const float list = std::max(160.0F * c.scale, ImGui::GetContentRegionAvail().y - 70.0F * c.scale);
    if (ImGui::BeginChild("##hiss", {0.0F, list}, true)) {
        for (const auto& s : c.view.spots) {
            std::string line = s.place.spot + "   " + say.known(s.place.name);
            if (s.hiss_taken && !s.hiss_db) line += std::string{"   "} + say(Word::injectors_taken);
            if (s.hiss_db) {
                line += "   " + say(Word::listen_louder, std::round(*s.hiss_db) + 0.0);
                if (s.hiss_stands_out) line += std::string{"   "} + say(Word::listen_stands_out);
            }
            if (ImGui::Selectable((line + "##" + s.place.spot).c_str(), s.place.spot == selected_spot_, 0,
                                  {0.0F, 32.0F * c.scale}))
                selected_spot_ = s.place.spot;
        }
    }
    ImGui::EndChild();
    const auto taken =
        std::count_if(c.view.spots.begin(), c.view.spots.end(), [](const SpotView& s) { return s.hiss_taken; });
    if (taken >= 4 && button(c, say(Word::listen_judge), 0.0F, false, !c.view.job.running)) c.send(ask::JudgeHiss{});
    go_on(c, Stage::spray);
}

void Flow::pedal(const PageContext& c, Pedal which) {
    if (!test_runs(c.view)) {
        const bool ready = c.view.spray.phase == SprayPhase::shut && c.view.gate.open && c.view.sound.running;
        if (which == Pedal::spray && ready) c.send(ask::StartSpray{});
        return;
    }
    switch (which) {
        case Pedal::spray:
            // Also a moment after the prompt was withdrawn: the visit knows what it meets.
            if (c.view.gate.open) c.send(ask::Sprayed{});
            break;
        case Pedal::repeat:
            c.send(ask::RepeatSpot{});
            break;
        case Pedal::skip:
            c.send(ask::SkipSpot{});
            break;
        case Pedal::wrong:
            if (c.view.spray.bursts > 0) choosing_wrong_spot_ = true;
            break;
        case Pedal::undo:
            c.send(ask::UndoBurst{});
            break;
        case Pedal::pause:
            c.send(ask::PauseSpray{c.view.spray.pause != PauseReason::by_hand});
            break;
    }
}

void Flow::spot_pressed(const PageContext& c, const std::string& spot) {
    if (c.view.sound.mode == Mode::practice && c.view.sound.running && c.view.gate.open) c.send(ask::SprayHere{spot});
}

void Flow::spray(const PageContext& c) {
    const auto& say = c.say;
    const auto& s = c.view.spray;
    if (!c.view.gate.open) {
        title(c, say(Word::gate_shut));
        warning(c, say(Word::gate_law));
        ImGui::Spacing();
        if (button(c, say(Word::spray_to_gate), 0.0F, true)) c.go(Stage::gate);
        return;
    }
    const float width = ImGui::GetContentRegionAvail().x;
    const float half = (width - ImGui::GetStyle().ItemSpacing.x) / 2.0F;
    if (s.phase == SprayPhase::shut) {
        if (c.view.sound.mode == Mode::practice) warning(c, say(Word::spray_practice));
        warning(c, say(Word::spray_rule));
        paragraph(say(Word::spray_auto));
        choose_prompts(c);
        choose_passes(c);
        ImGui::Spacing();
        if (!c.view.sound.running) {
            warning(c, say(Word::settle_no_sound));
            if (button(c, say(Word::stage_describe), width, true)) c.go(Stage::describe);
        } else if (button(c, say(Word::spray_start), width, true)) {
            c.send(ask::StartSpray{});
        }
        return;
    }
    const bool over = s.phase == SprayPhase::finished || s.phase == SprayPhase::stopped;
    const bool practice = c.view.sound.mode == Mode::practice && c.view.sound.running && !over;
    if (practice) warning(c, say(Word::spray_practice));
    if (!over) {
        if (button(c, say(practice ? Word::spray_practise : Word::spray_sprayed), width, true, prompts_spray(c.view)))
            pedal(c, Pedal::spray);
        if (button(c, say(Word::spray_repeat), half)) pedal(c, Pedal::repeat);
        ImGui::SameLine();
        if (button(c, say(Word::spray_skip), half)) pedal(c, Pedal::skip);
        if (button(c, say(Word::spray_wrong), half, false, s.bursts > 0)) pedal(c, Pedal::wrong);
        ImGui::SameLine();
        if (button(c, say(Word::spray_undo), half, false, s.bursts > 0)) pedal(c, Pedal::undo);
        if (button(c, say(s.pause == PauseReason::by_hand ? Word::spray_resume : Word::spray_pause), half))
            pedal(c, Pedal::pause);
        ImGui::SameLine();
        if (button(c, say(Word::spray_finish), half)) c.send(ask::FinishSpray{});
    }
    if (!s.notice.empty()) warning(c, say.known(s.notice).c_str());
    if (!s.why.empty()) paragraph(say.known(s.why));
    paragraph(say(Word::spray_used, s.bursts, s.most_bursts, s.decided, c.view.spots.size()));
    if (!over) choose_prompts(c);
    choosing_wrong_spot_ = choosing_wrong_spot_ && !over;
    if (choosing_wrong_spot_) {
        title(c, say(Word::spray_which));
        for (const auto& spot : c.view.spots) {
            if (button(c, spot.place.spot, 56.0F * c.scale)) {
                c.send(ask::SprayedElsewhere{spot.place.spot});
                choosing_wrong_spot_ = false;
            }
            next_in_row(56.0F * c.scale);
        }
        if (button(c, say(Word::cancel))) choosing_wrong_spot_ = false;
    }
    const float room = ImGui::GetContentRegionAvail().y;
    const float table = std::max(230.0F * c.scale, over ? room - 76.0F * c.scale : room);
    verdict_table(c, table, practice);
    if (over) go_on(c, Stage::report);
}

/// Spots, under each what it did, and what that says.
void Flow::verdict_table(const PageContext& c, float height, bool lines_spray) {
    const auto& say = c.say;
    const auto verdict = [&](const SpotView& spot) {
        return say(spot.verdict ? word_of(*spot.verdict) : Word::verdict_not_tested);
    };
    float widest = ImGui::CalcTextSize(say(Word::column_verdict)).x;
    for (const auto& spot : c.view.spots) widest = std::max(widest, ImGui::CalcTextSize(verdict(spot)).x);
    if (!ImGui::BeginTable("##verdicts", 2,
                           ImGuiTableFlags_RowBg | ImGuiTableFlags_ScrollY | ImGuiTableFlags_BordersInnerH,
                           {0.0F, height}))
        return;
    ImGui::TableSetupScrollFreeze(0, 1);
    ImGui::TableSetupColumn(say(Word::column_spot), ImGuiTableColumnFlags_WidthStretch);
    ImGui::TableSetupColumn(say(Word::column_verdict), ImGuiTableColumnFlags_WidthFixed, widest);
    ImGui::TableHeadersRow();
    for (const auto& spot : c.view.spots) {
        auto words = fmt::format("{}{}  {}", spot.prompted ? "→ " : "", spot.place.spot, say.known(spot.place.name));
        if (!std::isnan(spot.change_rpm))
            words += fmt::format("\n{:+.0f} {} ({:+.0f}..{:+.0f})", std::round(spot.change_rpm) + 0.0, say(Word::rpm),
                                 std::round(spot.low_rpm) + 0.0, std::round(spot.high_rpm) + 0.0);
        ImGui::TableNextRow();
        ImGui::TableNextColumn();
        if (spot.prompted) ImGui::PushFont(c.type.strong);
        if (lines_spray) {  // a line to press, its words laid over it
            const float wrap = ImGui::GetContentRegionAvail().x;
            const float tall = ImGui::CalcTextSize(words.c_str(), nullptr, false, wrap).y;
            const auto at = ImGui::GetCursorPos();
            if (ImGui::Selectable(("##" + spot.place.spot).c_str(), false, ImGuiSelectableFlags_SpanAllColumns,
                                  {0.0F, std::max(tall, 32.0F * c.scale)}))
                spot_pressed(c, spot.place.spot);
            ImGui::SetCursorPos(at);
        }
        ImGui::TextWrapped("%s", words.c_str());
        if (spot.prompted) ImGui::PopFont();
        ImGui::TableNextColumn();
        ImGui::TextUnformatted(verdict(spot));
    }
    ImGui::EndTable();
}

void Flow::injectors(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::injectors_title));
    const auto found = injectors_sentence(c.view, say);
    const bool judged = !found.empty();
    if (judged) {
        title(c, found.c_str());
        injector_clicks(c);
    } else {
        paragraph(say(Word::injectors_how));
    }
    const bool practice = c.view.sound.mode == Mode::practice;
    if (practice) warning(c, say(Word::probe_practice));
    if (c.view.take.running) level_meter(c);
    take_bar(c);
    for (const auto& i : c.view.injectors) {
        ImGui::PushID(i.cylinder);
        const bool can = !c.view.take.running && (!practice || !c.view.job.running);
        if (button(c, say(Word::injectors_take, i.cylinder), 0.0F, false, can))
            c.send(ask::StartTake{true, std::to_string(i.cylinder)});
        if (!practice)
            next_in_row(ImGui::CalcTextSize(say(Word::take_file)).x + 2.0F * ImGui::GetStyle().FramePadding.x);
        if (!practice && button(c, say(Word::take_file), 0.0F, false, can)) {
            chooser_.open(FileChooser::Wanted::sound);
            chosen_ = [send = c.send, cylinder = std::to_string(i.cylinder)](const std::string& path) {
                send(ask::TakeFile{true, cylinder, path});
            };
        }
        figures_in_row(injector_figures(i, say));
        ImGui::PopID();
    }
    const auto taken =
        std::count_if(c.view.injectors.begin(), c.view.injectors.end(), [](const InjectorLine& i) { return i.taken; });
    if (button(c, say(Word::injectors_judge), 0.0F, true, taken >= 2)) c.send(ask::JudgeInjectors{});
    if (!judged) injector_clicks(c);
    go_on(c, Stage::compare);
}

}  // namespace idlehark::gui
