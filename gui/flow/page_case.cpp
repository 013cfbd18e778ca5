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
    for (const auto& s : spots_with_results(c.view, c.say)) {
        if (!s.verdict || std::isnan(s.change_rpm)) continue;
        rows.push_back({.id = s.place.spot,
                        .name = c.say.known(s.place.name),
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

void choose_visit(const PageContext& c) {
    const auto& kept = *c.view.kept;
    for (const auto& v : kept.visits) {
        const auto words = visit_name(v);
        const float width = ImGui::CalcTextSize(("• " + words).c_str()).x + 32.0F * c.scale;
        if (&v != &kept.visits.front()) next_in_row(width);
        ImGui::PushID(static_cast<int>(v.id));
        if (choice(c, words.c_str(), v.id == c.view.visit_shown, std::min(width, ImGui::GetContentRegionAvail().x)) &&
            v.id != c.view.visit_shown)
            c.send(ask::ShowVisit{v.id});
        ImGui::PopID();
    }
}

void score(const PageContext& c) {
    const auto& s = c.view.score;
    if (s.shown) {
        warning(c, c.say(Word::score, s.found, s.missed, s.wrong, s.spray_s).c_str());
        for (const auto& line : s.debrief) paragraph("– " + c.say.known(line));
    } else if (c.view.sound.mode == Mode::practice && !c.view.sound.running) {
        paragraph(c.say(Word::score_sealed));
        if (button(c, c.say(Word::score_show))) c.send(ask::ShowScore{});
    }
}

/// One line for each of the other tests, with the way to its page.
void other_tests(const PageContext& c, const std::function<void(Stage, bool)>& show) {
    const auto& view = c.view;
    const auto line = [&](const std::string& words, Stage stage, bool balance) {
        if (words.empty()) return;
        ImGui::PushID(words.c_str());
        if (button(c, c.say(Word::show))) show(stage, balance);
        ImGui::PopID();
        ImGui::SameLine();
        ImGui::AlignTextToFramePadding();
        paragraph(words);
    };
    line(hiss_sentence(view, c.say), Stage::listen_first, false);
    line(injectors_sentence(view, c.say), Stage::injectors, false);
    if (!view.balance.cylinders.empty()) line(balance_sentence(view.balance, c.say), Stage::injectors, true);
}

bool section(const PageContext& c, const std::string& words) {
    ImGui::PushFont(c.type.strong);
    const bool open = ImGui::CollapsingHeader(words.c_str());
    ImGui::PopFont();
    return open;
}

void guided_record(const PageContext& c, const KeptVisit& v) {
    const auto& say = c.say;
    if (!v.answers.empty()) {
        const auto yes = std::count_if(v.answers.begin(), v.answers.end(), [](const KeptAnswer& a) { return a.yes; });
        if (section(c, say(Word::kept_answers, yes, kGatePoints) + "###answers"))
            for (const auto& a : v.answers)
                paragraph(fmt::format("{}  {}  {}", say(a.yes ? Word::gate_yes : Word::gate_no), say.known(a.question),
                                      a.at));
    }
    if (v.bursts.empty()) return;
    if (!section(c, say(Word::kept_bursts, v.bursts.size()) + "###bursts")) return;
    if (ImGui::BeginTable("##bursts", 3, ImGuiTableFlags_RowBg | ImGuiTableFlags_BordersInnerH)) {
        ImGui::TableSetupColumn(say(Word::kept_time), ImGuiTableColumnFlags_WidthStretch, 0.8F);
        ImGui::TableSetupColumn(say(Word::column_spot), ImGuiTableColumnFlags_WidthStretch, 0.7F);
        ImGui::TableSetupColumn(say(Word::kept_how), ImGuiTableColumnFlags_WidthStretch, 3.0F);
        ImGui::TableHeadersRow();
        for (const auto& b : v.bursts) {
            ImGui::TableNextRow();
            ImGui::TableNextColumn();
            ImGui::Text("%.1f s", b.time_s);
            ImGui::TableNextColumn();
            ImGui::TextUnformatted(b.spots.c_str());
            ImGui::TableNextColumn();
            paragraph(burst_words(b, say));
        }
        ImGui::EndTable();
    }
    if (!v.ended.empty()) paragraph(say.known(v.ended));
}

void kept_log(const PageContext& c) {
    const auto done = std::count_if(c.view.log.begin(), c.view.log.end(),
                                    [](const LogLine& l) { return l.answer != LogAnswer::not_done; });
    if (!section(c, c.say(Word::kept_log, done, c.view.log.size()) + "###log")) return;
    for (const auto& l : c.view.log) {
        const auto state = l.answer == LogAnswer::ok       ? Word::log_ok
                           : l.answer == LogAnswer::faulty ? Word::log_faulty
                                                           : Word::log_not_done;
        auto words = fmt::format("{}: {}", c.say.known(l.name), c.say(state));
        if (l.reading) words += fmt::format(", {:g} {}", *l.reading, l.unit);
        if (l.low && l.high) words += fmt::format(" ({:g}..{:g})", *l.low, *l.high);
        if (!l.note.empty()) words += ". " + l.note;
        if (l.answer == LogAnswer::faulty)
            warning(c, words.c_str());
        else
            paragraph("– " + words);
    }
}

void recordings(const PageContext& c, const KeptVisit& v) {
    if (v.recordings.empty() || !section(c, c.say(Word::kept_recordings, v.recordings.size()) + "###recordings"))
        return;
    for (const auto& r : v.recordings) paragraph(fmt::format("{}  {:.0f} s", r.file, r.length_s));
}

}  // namespace

void Flow::report(const PageContext& c) {
    const auto& say = c.say;
    const auto& view = c.view;
    title(c, view.kept && !view.kept->name.empty() ? view.kept->name.c_str() : say(Word::report_title));
    if (view.kept && !view.kept->visits.empty() && !view.sound.running) choose_visit(c);
    const auto* visit = view.kept ? view.kept->find(view.visit_shown) : nullptr;
    ImGui::PushFont(c.type.big);
    paragraph(verdict_sentence(view, say));
    ImGui::PopFont();
    const bool can_write = !view.job.running && (view.kept || (view.sound.mode == Mode::replay && !view.sound.running));
    if (button(c, say(Word::report_write), 0.0F, true, can_write)) c.send(ask::WriteReport{});
    for (const auto& file : view.written) paragraph(say(Word::next_report_done, file));
    if (!can_write && !view.job.running) paragraph(say(Word::report_no_case));
    score(c);
    if (visit && !visit->note.empty()) paragraph(visit->note);
    spot_rows(c);
    other_tests(c, [&](Stage stage, bool balance) {
        balance_shown_ = balance;
        c.go(stage);
    });
    if (!view.cautions.empty()) {
        title(c, say(Word::report_cautions));
        for (const auto& line : view.cautions) paragraph("– " + say.known(line));
    }
    if (visit) guided_record(c, *visit);
    kept_log(c);
    if (visit) recordings(c, *visit);
    const auto notes = view.notes.size() + (view.kept ? view.kept->notes.size() : 0);
    if (notes == 0 || !section(c, say(Word::kept_notes, notes) + "###notes")) return;
    for (const auto& line : view.notes) paragraph("– " + say.known(line));
    if (view.kept)
        for (const auto& line : view.kept->notes) paragraph("– " + line);
}

}  // namespace idlehark::gui
