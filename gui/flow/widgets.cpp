#include "gui/flow/widgets.hpp"

#include "gui/look/palette.hpp"

#include <algorithm>

#include <imgui.h>
#include <imgui_internal.h>

namespace idlehark::gui {

namespace {
constexpr float kTarget = 44.0F;

ImU32 packed(Rgb c) { return IM_COL32(c.r, c.g, c.b, 255); }
void push(ImGuiCol_ which, Rgb c) { ImGui::PushStyleColor(which, packed(c)); }
}  // namespace

bool button(const PageContext& c, const char* words, float width, bool loud, bool enabled) {
    if (!enabled) ImGui::BeginDisabled();
    if (loud) {
        push(ImGuiCol_Button, palette::kAction);
        push(ImGuiCol_ButtonHovered, palette::kAction);
        push(ImGuiCol_ButtonActive, palette::kTrace);
        push(ImGuiCol_Text, palette::kOnAction);
        ImGui::PushFont(c.type.title);
    }
    const bool pressed = ImGui::Button(words, {width, (loud ? 1.2F : 1.0F) * kTarget * c.scale});
    if (loud) {
        ImGui::PopFont();
        ImGui::PopStyleColor(4);
    }
    if (!enabled) ImGui::EndDisabled();
    return pressed;
}

float loud_width(const PageContext& c, const char* words) {
    ImGui::PushFont(c.type.title);
    const float width = ImGui::CalcTextSize(words).x + 2.0F * ImGui::GetStyle().FramePadding.x;
    ImGui::PopFont();
    return width;
}

bool choice(const PageContext& c, const char* words, bool chosen, float width) {
    if (chosen) {
        push(ImGuiCol_Button, palette::kInk);
        push(ImGuiCol_ButtonHovered, palette::kInk);
        push(ImGuiCol_Text, palette::kOnAction);
    }
    const bool pressed =
        ImGui::Button(chosen ? (std::string{"• "} + words + "###" + words).c_str() : words, {width, kTarget * c.scale});
    if (chosen) ImGui::PopStyleColor(3);
    return pressed;
}

void title(const PageContext& c, const char* words) {
    ImGui::PushFont(c.type.title);
    ImGui::PushTextWrapPos(0.0F);
    ImGui::TextUnformatted(words);
    ImGui::PopTextWrapPos();
    ImGui::PopFont();
}

void paragraph(const char* words) {
    ImGui::PushTextWrapPos(0.0F);
    ImGui::TextUnformatted(words);
    ImGui::PopTextWrapPos();
}

void warning(const PageContext& c, const char* words) {
    const float bar = 6.0F * c.scale;
    const auto start = ImGui::GetCursorScreenPos();
    ImGui::Indent(2.5F * bar);
    ImGui::PushFont(c.type.strong);
    paragraph(words);
    ImGui::PopFont();
    ImGui::Unindent(2.5F * bar);
    const float end = ImGui::GetCursorScreenPos().y - ImGui::GetStyle().ItemSpacing.y;
    ImGui::GetWindowDrawList()->AddRectFilled(start, {start.x + bar, end}, packed(palette::kStop));
}

void label(const PageContext& c, const char* words) {
    const float edge = std::min(0.42F * ImGui::GetContentRegionMax().x, 250.0F * c.scale);
    ImGui::AlignTextToFramePadding();
    const float y = ImGui::GetCursorPosY();
    ImGui::PushTextWrapPos(edge - 6.0F * c.scale);
    ImGui::TextUnformatted(words);
    ImGui::PopTextWrapPos();
    ImGui::SameLine(edge);
    ImGui::SetCursorPosY(y);
}

void figure(const PageContext& c, const char* what, const std::string& value, const char* unit) {
    ImGui::BeginGroup();
    ImGui::PushFont(c.type.big);
    ImGui::TextUnformatted(value.c_str());
    ImGui::PopFont();
    ImGui::SameLine();
    ImGui::TextUnformatted(unit);
    paragraph(what);
    ImGui::EndGroup();
}

void comma_as_point(const char* field) {
    if (ImGui::GetActiveID() != ImGui::GetID(field)) return;
    auto& typed = ImGui::GetIO().InputQueueCharacters;
    std::replace(typed.begin(), typed.end(), ImWchar{','}, ImWchar{'.'});
}

bool whole_number(const char* field, int& value, int step) {
    comma_as_point(field);
    return ImGui::InputInt(field, &value, step);
}

bool next_in_row(float width) {
    ImGui::SameLine();
    const bool room = ImGui::GetContentRegionAvail().x >= width;
    if (!room) ImGui::NewLine();
    return room;
}

void stand_on_last() {
    ImGui::SetFocusID(ImGui::GetItemID(), ImGui::GetCurrentWindow());
    ImGui::GetCurrentContext()->NavDisableHighlight = false;
}

bool close_popup() {
    const int open = ImGui::GetCurrentContext()->OpenPopupStack.Size;
    if (open > 0) ImGui::ClosePopupToLevel(open - 1, true);
    return open > 0;
}

void go_on(const PageContext& c, Stage next, bool enabled) {
    if (c.way_on) *c.way_on = {next, enabled};
}

}  // namespace idlehark::gui
