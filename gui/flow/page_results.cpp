#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"

#include <algorithm>
#include <cmath>

#include <imgui.h>

namespace idlehark::gui {

void Flow::compare(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::compare_title));
    const auto choose = [&](Word which, std::string& into) {
        label(c, say(which));
        ImGui::PushID(say(which));
        if (button(c, into.empty() ? std::string{say(Word::choose)} : into)) {
            chooser_.open(FileChooser::Wanted::folder);
            chosen_ = [&into](const std::string& path) { into = path; };
        }
        ImGui::PopID();
    };
    choose(Word::compare_before, before_);
    if (after_.empty()) after_ = c.view.case_folder;
    choose(Word::compare_after, after_);
    if (button(c, say(Word::compare_run), 0.0F, true, !before_.empty() && !after_.empty()))
        c.send(ask::Compare{before_, after_});
    if (!c.view.compare_headline.empty()) title(c, c.view.compare_headline.c_str());
    if (!c.view.compare.empty() &&
        ImGui::BeginTable("##compare", 5, ImGuiTableFlags_RowBg | ImGuiTableFlags_BordersInnerH)) {
        for (const char* head : {"", say(Word::compare_before), say(Word::compare_after), say(Word::compare_difference),
                                 say(Word::column_verdict)})
            ImGui::TableSetupColumn(head);
        ImGui::TableHeadersRow();
        for (const auto& line : c.view.compare) {
            ImGui::TableNextRow();
            ImGui::TableNextColumn();
            ImGui::TextWrapped("%s", line.figure.c_str());
            ImGui::TableNextColumn();
            ImGui::Text("%.1f", line.before);
            ImGui::TableNextColumn();
            ImGui::Text("%.1f", line.after);
            ImGui::TableNextColumn();
            ImGui::Text("%+.1f..%+.1f", line.low, line.high);
            ImGui::TableNextColumn();
            ImGui::TextWrapped("%s", line.verdict.c_str());
        }
        ImGui::EndTable();
    }
    go_on(c, Stage::report);
}

void Flow::report(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::report_title));
    if (c.view.headline.empty())
        paragraph(say(Word::report_nothing));
    else {
        ImGui::PushFont(c.type.big);
        paragraph(c.view.headline);
        ImGui::PopFont();
    }
    for (const auto& s : c.view.spots) {
        if (!s.verdict) continue;
        if (std::isnan(s.change_rpm)) continue;
        if (*s.verdict != SprayVerdict::leak && *s.verdict != SprayVerdict::overspray) continue;
        paragraph(fmt::format("{}  {}: {}, {:+.0f} {} ({:+.0f}..{:+.0f})", s.place.spot, s.place.name,
                              say(word_of(*s.verdict)), s.change_rpm, say(Word::rpm), s.low_rpm, s.high_rpm));
    }
    if (c.view.score.shown)
        warning(c, say(Word::score, c.view.score.found, c.view.score.missed, c.view.score.wrong, c.view.score.spray_s)
                       .c_str());
    else if (c.view.sound.mode == Mode::practice && !c.view.headline.empty() && button(c, say(Word::score_show)))
        c.send(ask::ShowScore{});
    if (!c.view.cautions.empty()) {
        title(c, say(Word::report_cautions));
        for (const auto& line : c.view.cautions) paragraph("– " + line);
    }
    for (const auto& line : c.view.notes) paragraph("– " + line);
    ImGui::Spacing();
    if (button(c, say(Word::report_write), 0.0F, true, !c.view.headline.empty())) c.send(ask::WriteReport{});
    for (const auto& file : c.view.written) paragraph(file);
}

}  // namespace idlehark::gui
