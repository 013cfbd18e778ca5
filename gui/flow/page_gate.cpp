#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"

#include <imgui.h>

namespace idlehark::gui {

void Flow::gate(const PageContext& c) {
    const auto& say = c.say;
    const auto& g = c.view.gate;
    title(c, say(Word::gate_title));
    warning(c, say(Word::gate_law));
    ImGui::Spacing();
    if (!g.alternatives_seen) {
        title(c, say(Word::gate_without));
        paragraph(say(Word::gate_alternatives));
        ImGui::Spacing();
        if (button(c, say(Word::gate_listen_instead), 0.0F, true)) c.go(Stage::listen_first);
        ImGui::SameLine();
        if (button(c, say(Word::gate_seen), 0.0F)) c.send(ask::AlternativesSeen{});
        ImGui::Spacing();
        warning(c, say(Word::gate_fire));
        points_shown_ = false;
        return;
    }
    const float answer_w = 84.0F * c.scale;
    const float words_w = ImGui::GetContentRegionAvail().x - 2.0F * answer_w - 3.0F * ImGui::GetStyle().ItemSpacing.x;
    const auto spacing = ImGui::GetStyle().ItemSpacing;
    ImGui::PushStyleVar(ImGuiStyleVar_ItemSpacing, {spacing.x, 0.4F * spacing.y});  // ten rows fit a small screen
    for (std::size_t i = 0; i < kGatePoints; ++i) {
        const auto point = static_cast<GatePoint>(i);
        const auto& answer = g.answers[i];
        ImGui::PushID(static_cast<int>(i));
        if (choice(c, say(Word::gate_yes), answer && *answer, answer_w)) c.send(ask::AnswerGate{point, true});
        if (i == 0 && !points_shown_) stand_on_last();
        ImGui::SameLine();
        if (choice(c, say(Word::gate_no), answer && !*answer, answer_w)) c.send(ask::AnswerGate{point, false});
        ImGui::SameLine();
        ImGui::AlignTextToFramePadding();
        ImGui::PushTextWrapPos(ImGui::GetCursorPosX() + words_w);
        ImGui::Text("%zu  %s", i + 1, say(question(point)));
        ImGui::PopTextWrapPos();
        ImGui::PopID();
    }
    ImGui::PopStyleVar();
    points_shown_ = true;
    ImGui::Spacing();
    warning(c, say(Word::gate_fire));
    title(c, say(g.open ? Word::gate_open : Word::gate_shut));
    go_on(c, Stage::settle, g.open);
}

}  // namespace idlehark::gui
