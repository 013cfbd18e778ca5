#include "gui/flow/widgets.hpp"

#include <imgui.h>
#include <imgui_stdlib.h>

namespace idlehark::gui {

namespace {

bool number(const char* id, const char* hint, std::optional<double>& value, float width) {
    std::string text = value ? fmt::format("{:g}", *value) : std::string{};
    ImGui::SetNextItemWidth(width);
    comma_as_point(id);
    if (!ImGui::InputTextWithHint(id, hint, &text, ImGuiInputTextFlags_CharsDecimal)) return false;
    char* end = nullptr;
    const double typed = std::strtod(text.c_str(), &end);
    if (end == text.c_str())
        value.reset();
    else
        value = typed;
    return true;
}

bool outside(const LogLine& line) {
    return line.reading && ((line.low && *line.reading < *line.low) || (line.high && *line.reading > *line.high));
}

}  // namespace

void Flow::log(const PageContext& c) {
    const auto& say = c.say;
    paragraph(say(Word::log_intro));
    if (!log_) log_ = c.view.log;
    ImGui::PushID(static_cast<int>(engine_edition_));  // another case's lines are others
    bool changed = false;
    const float width = ImGui::GetContentRegionAvail().x;
    const bool wide = width > 760.0F * c.scale;
    const float small = 78.0F * c.scale;
    for (std::size_t i = 0; i < log_->size(); ++i) {
        auto& line = (*log_)[i];
        ImGui::PushID(static_cast<int>(i));
        ImGui::SetNextItemWidth(wide ? 0.3F * width : width - 60.0F * c.scale);
        auto name = say.known(line.name);
        if (ImGui::InputText("##name", &name)) {
            line.name = name;
            changed = true;
        }
        if (wide) ImGui::SameLine();
        changed |= number("##low", say(Word::log_low), line.low, small);
        ImGui::SameLine();
        ImGui::TextUnformatted("–");
        ImGui::SameLine();
        changed |= number("##high", say(Word::log_high), line.high, small);
        ImGui::SameLine();
        ImGui::SetNextItemWidth(small);
        changed |= ImGui::InputTextWithHint("##unit", say(Word::log_unit), &line.unit);
        ImGui::SameLine();
        changed |= number("##reading", say(Word::log_reading), line.reading, 1.4F * small);
        const auto pick = [&](Word word, LogAnswer answer) {
            if (choice(c, say(word), line.answer == answer)) {
                line.answer = answer;
                changed = true;
            }
        };
        const float three = ImGui::CalcTextSize(say(Word::log_ok)).x + ImGui::CalcTextSize(say(Word::log_faulty)).x +
                            ImGui::CalcTextSize(say(Word::log_not_done)).x + 130.0F * c.scale;
        if (wide) next_in_row(three);
        pick(Word::log_ok, LogAnswer::ok);
        ImGui::SameLine();
        pick(Word::log_faulty, LogAnswer::faulty);
        ImGui::SameLine();
        pick(Word::log_not_done, LogAnswer::not_done);
        next_in_row(200.0F * c.scale);
        ImGui::SetNextItemWidth(-1.0F);
        changed |= ImGui::InputTextWithHint("##note", say(Word::log_note), &line.note);
        if (outside(line)) warning(c, say(Word::log_outside));
        ImGui::PopID();
    }
    ImGui::PopID();
    if (button(c, say(Word::log_add))) {
        log_->push_back({});
        changed = true;
    }
    if (changed) c.send(ask::SetLog{*log_});
    go_on(c, Stage::map);
}

}  // namespace idlehark::gui
