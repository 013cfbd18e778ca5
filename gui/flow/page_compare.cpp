#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/plots/change_rows.hpp"

#include <algorithm>
#include <utility>
#include <vector>

#include <imgui.h>

namespace idlehark::gui {

namespace {

std::vector<const KeptVisit*> comparable(const KeptCase& kept) {
    std::vector<const KeptVisit*> visits;
    for (const auto& v : kept.visits)
        if (v.comparable) visits.push_back(&v);
    return visits;
}

void choose_visit(const PageContext& c, Word which, const std::vector<const KeptVisit*>& visits, std::int64_t& chosen) {
    label(c, c.say(which));
    const auto it = std::find_if(visits.begin(), visits.end(), [&](const auto* v) { return v->id == chosen; });
    const auto shown = it == visits.end() ? std::string{c.say(Word::choose)} : visit_name(**it);
    ImGui::SetNextItemWidth(std::min(ImGui::GetContentRegionAvail().x, 460.0F * c.scale));
    ImGui::PushID(static_cast<int>(which));
    if (ImGui::BeginCombo("##visit", shown.c_str(), ImGuiComboFlags_HeightLargest)) {
        for (const auto* v : visits) {
            ImGui::PushID(static_cast<int>(v->id));
            if (ImGui::Selectable(visit_name(*v).c_str(), v->id == chosen, 0, {0.0F, 34.0F * c.scale})) chosen = v->id;
            ImGui::PopID();
        }
        ImGui::EndCombo();
    }
    ImGui::PopID();
}

std::string number(double x, const std::string& unit, bool sign = false) {
    if (!std::isfinite(x)) return {};
    const int decimals = unit == "ms" ? 2 : unit == "µs" ? 0 : 1;
    return sign ? fmt::format("{:+.{}f}", x, decimals) : fmt::format("{:.{}f}", x, decimals);
}

void compare_rows(const PageContext& c, const CompareState& state) {
    std::vector<ChangeRow> rows;
    for (const auto& l : state.lines) {
        const auto unit = unit_words(l.unit, c.say);
        ChangeRow row{.figure = c.say.known(l.figure),
                      .name = c.say.known(l.name),
                      .before = number(l.before, l.unit),
                      .after = number(l.after, l.unit),
                      .unit = unit,
                      .difference = l.difference,
                      .low = l.low,
                      .high = l.high,
                      .finding = finding(l.verdict),
                      .verdict = c.say(word_of(l.verdict))};
        if (std::isfinite(l.difference))
            row.difference_words = fmt::format("{} ({}..{}) {}", number(l.difference, l.unit, true),
                                               number(l.low, l.unit, true), number(l.high, l.unit, true), unit);
        rows.push_back(std::move(row));
    }
    if (rows.empty() || !c.plots) return;
    std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.finding < b.finding; });
    const auto height =
        change_rows_height(rows.size(), static_cast<double>(ImGui::GetContentRegionAvail().x / c.scale));
    ChangeWords words{c.say(Word::compare_before), c.say(Word::compare_after), c.say(Word::compare_less),
                      c.say(Word::compare_same), c.say(Word::compare_more)};
    c.plots->place(static_cast<float>(height),
                   [rows = std::move(rows), words = std::move(words)](Canvas& canvas, const Box& on) {
                       draw_change_rows(canvas, on, rows, words);
                   });
}

}  // namespace

void Flow::compare(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::compare_title));
    const auto visits = c.view.kept ? comparable(*c.view.kept) : std::vector<const KeptVisit*>{};
    if (visits.size() < 2) {
        paragraph(say(c.view.kept ? Word::compare_one_visit : Word::compare_no_case));
        if (!c.view.kept && button(c, say(Word::stage_describe), 0.0F, true)) c.go(Stage::describe);
        go_on(c, Stage::report);
        return;
    }
    const auto known = [&](std::int64_t id) {
        return std::any_of(visits.begin(), visits.end(), [&](const auto* v) { return v->id == id; });
    };
    if (!known(before_)) before_ = visits.front()->id;
    if (!known(after_)) after_ = visits.back()->id;
    choose_visit(c, Word::compare_before, visits, before_);
    choose_visit(c, Word::compare_after, visits, after_);
    const bool busy = c.view.job.running;
    if (button(c, say(Word::compare_run), 0.0F, true, before_ != after_ && !busy))
        c.send(ask::Compare{before_, after_, false});
    const auto& state = c.view.compare;
    if (!state || state->before_visit != before_ || state->after_visit != after_) {
        paragraph(say(Word::compare_like));
        go_on(c, Stage::report);
        return;
    }
    if (!state->refusal.empty()) {
        warning(c, say(Word::compare_refused));
        paragraph(say.known(state->refusal));
        if (state->anyway && button(c, say(Word::compare_anyway), 0.0F, false, !busy))
            c.send(ask::Compare{before_, after_, true});
    } else {
        ImGui::PushFont(c.type.big);
        paragraph(compare_sentence(*state, say));
        ImGui::PopFont();
        for (const auto& line : state->cautions) warning(c, say.known(line).c_str());
        compare_rows(c, *state);
        paragraph(say(Word::compare_how));
        for (const auto& line : state->notes) paragraph("– " + say.known(line));
    }
    go_on(c, Stage::report);
}

}  // namespace idlehark::gui
