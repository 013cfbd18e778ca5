#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/plots/rows.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include <imgui.h>

namespace idlehark::gui {

namespace {

/// Every spot that was sprayed: its change against zero and the verdict, leaks first.
void spot_rows(const PageContext& c) {
    std::vector<ResultRow> rows;
    RowsScale scale{.high = 30.0, .matters = c.view.settle.matters_rpm};
    for (const auto& s : c.view.spots) {
        if (!s.verdict || std::isnan(s.change_rpm)) continue;
        rows.push_back({.id = s.place.spot,
                        .name = s.place.name,
                        .value = s.change_rpm,
                        .low = s.low_rpm,
                        .high = s.high_rpm,
                        .figure = fmt::format("{:+.0f} {}", s.change_rpm, c.say(Word::rpm)),
                        .finding = finding(*s.verdict),
                        .verdict = c.say(word_of(*s.verdict)),
                        .bursts = s.bursts});
        scale.high = std::max(scale.high, 1.1 * std::abs(s.change_rpm));
    }
    if (rows.empty() || !c.plots) return;
    scale.low = -scale.high;
    std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.finding < b.finding; });
    const auto height = static_cast<float>(kRowHeight * static_cast<double>(rows.size()));
    c.plots->place(
        height, [rows = std::move(rows), scale](Canvas& canvas, const Box& on) { draw_rows(canvas, on, rows, scale); });
}

}  // namespace

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
    spot_rows(c);
    if (c.view.score.shown) {
        warning(c, say(Word::score, c.view.score.found, c.view.score.missed, c.view.score.wrong, c.view.score.spray_s)
                       .c_str());
        for (const auto& line : c.view.score.debrief) paragraph("– " + line);
    } else if (c.view.sound.mode == Mode::practice && !c.view.sound.running) {
        paragraph(say(Word::score_sealed));
        if (button(c, say(Word::score_show))) c.send(ask::ShowScore{});
    }
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
