#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/plots/rows.hpp"

#include <algorithm>
#include <utility>
#include <vector>

#include <imgui.h>

namespace idlehark::gui {

namespace {

/// Strength of every cylinder against the middle one, with its interval.
void strength_rows(const PageContext& c) {
    const auto& b = c.view.balance;
    std::vector<ResultRow> rows;
    RowsScale scale{.bars = true, .zero = 0.0, .usual = 1.0, .low = 0.0, .high = 1.6};
    for (const auto& k : b.cylinders) {
        ResultRow row{.id = k.name,
                      .name = {},
                      .value = k.strength,
                      .low = k.strength_low,
                      .high = k.strength_high,
                      .figure = {},
                      .finding = finding(k.verdict),
                      .verdict = c.say(word_of(k.verdict))};
        if (std::isfinite(k.misfire_percent)) row.figure = c.say(Word::balance_missing, k.misfire_percent);
        if (std::isfinite(k.strength_high)) scale.high = std::max(scale.high, std::min(3.0, 1.05 * k.strength_high));
        rows.push_back(std::move(row));
    }
    if (rows.empty() || !c.plots) return;
    const auto height = static_cast<float>(kRowHeight * static_cast<double>(rows.size()));
    c.plots->place(
        height, [rows = std::move(rows), scale](Canvas& canvas, const Box& on) { draw_rows(canvas, on, rows, scale); });
}

/// A clamp on one lead names the cylinders; without it firings are lettered.
void choose_pick_up(const PageContext& c, int& cylinder) {
    const auto words = [&](int k) {
        return k == 0 ? std::string{c.say(Word::pick_up_none)} : c.say(Word::pick_up_on, k);
    };
    if (cylinder > c.view.engine.cylinders) cylinder = 0;
    label(c, c.say(Word::pick_up));
    ImGui::SetNextItemWidth(std::min(ImGui::GetContentRegionAvail().x, 330.0F * c.scale));
    if (ImGui::BeginCombo("##pick_up", words(cylinder).c_str(), ImGuiComboFlags_HeightLargest)) {
        for (int k = 0; k <= c.view.engine.cylinders; ++k)
            if (ImGui::Selectable(words(k).c_str(), k == cylinder, 0, {0.0F, 34.0F * c.scale})) cylinder = k;
        ImGui::EndCombo();
    }
    if (cylinder > 0) warning(c, c.say(Word::pick_up_caution));
}

}  // namespace

void Flow::injectors_or_balance(const PageContext& c) {
    if (choice(c, c.say(Word::tab_injectors), !balance_shown_)) balance_shown_ = false;
    next_in_row(ImGui::CalcTextSize(c.say(Word::tab_balance)).x + 44.0F * c.scale);
    if (choice(c, c.say(Word::tab_balance), balance_shown_)) balance_shown_ = true;
    if (balance_shown_)
        balance(c);
    else
        injectors(c);
}

void Flow::balance(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::balance_title));
    const auto& take = c.view.take;
    if (take.running && take.kind == TakeKind::idle) {
        ImGui::ProgressBar(static_cast<float>(std::clamp(take.done_s / take.needed_s, 0.0, 1.0)),
                           {-1.0F, 30.0F * c.scale}, "");
        if (button(c, say(Word::take_stop))) c.send(ask::StopTake{});
    } else if (c.view.sound.mode == Mode::practice) {
        paragraph(say(Word::balance_practice));
    } else {
        paragraph(say(Word::balance_how));
        choose_pick_up(c, pick_up_cylinder_);
        const bool free = !take.running && !c.view.job.running;
        if (button(c, say(Word::balance_take), 0.0F, c.view.balance.cylinders.empty(), free))
            c.send(ask::StartIdleTake{pick_up_cylinder_});
        next_in_row(160.0F * c.scale);
        if (button(c, say(Word::take_file), 0.0F, false, free)) {
            chooser_.open(FileChooser::Wanted::sound);
            chosen_ = [send = c.send, cylinder = pick_up_cylinder_](const std::string& path) {
                send(ask::IdleFile{path, cylinder});
            };
        }
    }
    const auto& b = c.view.balance;
    if (!b.cylinders.empty()) {
        ImGui::PushFont(c.type.big);
        paragraph(balance_sentence(b, say));
        ImGui::PopFont();
        paragraph(say(b.named ? Word::balance_named : Word::balance_letters));
        strength_rows(c);
        if (std::isfinite(b.half_order_share)) paragraph(say(Word::balance_half_orders, 100.0 * b.half_order_share));
        for (const auto& line : b.cautions) warning(c, say.known(line).c_str());
    }
    go_on(c, Stage::compare);
}

}  // namespace idlehark::gui
