#include "gui/flow/widgets.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <numeric>

#include <imgui.h>
#include <imgui_stdlib.h>

namespace idlehark::gui {

namespace {

std::string order_text(const Engine& e) {
    std::string text;
    if (e.firing_order.empty())  // as the engine file has it: in the order of their numbers
        for (int c = 1; c <= e.cylinders; ++c) text += (c == 1 ? "" : "-") + std::to_string(c);
    for (const int c : e.firing_order) text += (text.empty() ? "" : "-") + std::to_string(c);
    return text;
}

/// Numbers between anything that is no digit; empty if one is out of reason.
std::vector<int> order_of(const std::string& text) {
    std::vector<int> order;
    for (const char* p = text.data(); p < text.data() + text.size();) {
        if (std::isdigit(static_cast<unsigned char>(*p)) == 0) {
            ++p;
            continue;
        }
        int value = 0;
        const auto [end, code] = std::from_chars(p, text.data() + text.size(), value);
        if (code != std::errc{}) return {};
        order.push_back(value);
        p = end;
    }
    return order;
}

bool each_once(std::vector<int> order, int cylinders) {
    std::sort(order.begin(), order.end());
    if (static_cast<int>(order.size()) != cylinders) return false;
    for (int c = 1; c <= cylinders; ++c)
        if (order[static_cast<std::size_t>(c - 1)] != c) return false;
    return true;
}

std::vector<int> usual_order(int cylinders) {
    switch (cylinders) {
        case 4:
            return {1, 3, 4, 2};
        case 5:
            return {1, 2, 4, 5, 3};
        case 6:
            return {1, 5, 3, 6, 2, 4};
        case 8:
            return {1, 8, 4, 3, 6, 5, 7, 2};
        default:
            break;
    }
    std::vector<int> order(static_cast<std::size_t>(cylinders));
    std::iota(order.begin(), order.end(), 1);
    return order;
}

using Rows = std::vector<std::vector<int>>;

Rows one_row(int cylinders) {
    Rows rows(1);
    for (int c = 1; c <= cylinders; ++c) rows[0].push_back(c);
    return rows;
}

/// The two ways in which makers number a vee or flat engine.
Rows halves(int cylinders) {
    Rows rows(2);
    for (int c = 1; c <= cylinders; ++c) rows[c > cylinders / 2 ? 1 : 0].push_back(c);
    return rows;
}

Rows odd_and_even(int cylinders) {
    Rows rows(2);
    for (int c = 1; c <= cylinders; ++c) rows[c % 2 == 0 ? 1 : 0].push_back(c);
    return rows;
}

/// "1 2 3 | 4 5 6"
std::string rows_text(const Rows& rows) {
    std::string text;
    for (const auto& row : rows) {
        if (!text.empty()) text += "| ";
        for (const int c : row) text += std::to_string(c) + " ";
    }
    text.pop_back();
    return text;
}

}  // namespace

void Flow::choose_practice(const PageContext& c) {
    if (!c.view.practice_engines) return;
    const auto name = [](const PracticeOffer& o) { return fmt::format("{}  {}", o.number, o.name); };
    const auto& offers = *c.view.practice_engines;
    const auto it = std::find_if(offers.begin(), offers.end(),
                                 [this](const PracticeOffer& o) { return o.number == practice_engine_; });
    const bool drawn = it == offers.end();
    label(c, c.say(Word::practice_engine));
    ImGui::SetNextItemWidth(-1.0F);
    if (ImGui::BeginCombo("##practice", drawn ? c.say(Word::practice_drawn) : name(*it).c_str(),
                          ImGuiComboFlags_HeightLargest)) {
        for (const auto& o : offers)
            if (ImGui::Selectable((name(o) + ": " + c.say.known(o.complaint)).c_str(), practice_engine_ == o.number))
                practice_engine_ = o.number;
        if (ImGui::Selectable(c.say(Word::practice_drawn), drawn)) practice_engine_ = 0;
        ImGui::EndCombo();
    }
    paragraph(c.say(Word::start_practice_help));
    if (!drawn) paragraph(c.say(Word::practice_complaint, c.say.known(it->complaint)));
}

void Flow::known_cases(const PageContext& c) {
    if (c.view.known_cases.empty()) return;
    label(c, c.say(Word::case_known));
    ImGui::SetNextItemWidth(-1.0F);
    if (!ImGui::BeginCombo("##cases", c.say(Word::choose), ImGuiComboFlags_HeightLargest)) return;
    for (const auto& k : c.view.known_cases) {
        const auto words =
            fmt::format("{}{}: {}", k.last ? "→ " : "", k.name, c.say(Word::case_visits, k.visits, k.last_date));
        if (ImGui::Selectable((words + "##" + k.folder).c_str(), k.folder == c.view.case_folder, 0,
                              {0.0F, 34.0F * c.scale}))
            c.send(ask::OpenCase{k.folder});
    }
    ImGui::EndCombo();
}

void Flow::describe(const PageContext& c) {
    const auto& say = c.say;
    title(c, say(Word::describe_sound));
    const float width = ImGui::GetContentRegionAvail().x;
    const float third = (width - 2.0F * ImGui::GetStyle().ItemSpacing.x) / 3.0F;
    float widest = 0.0F;
    for (const auto word : {Word::start_practice, Word::start_live, Word::start_replay})
        widest = std::max(widest, loud_width(c, say(word)));
    const float each = third > widest ? third : width;
    if (!c.view.sound.running) {
        if (button(c, say(Word::start_practice), each, true))
            c.send(ask::StartPractice{practice_number_, static_cast<double>(practice_pace_), practice_engine_});
        if (each == third) ImGui::SameLine();
        if (button(c, say(Word::start_live), each, true)) c.send(ask::StartLive{device_});
        if (each == third) ImGui::SameLine();
        if (button(c, say(Word::start_replay), each, true)) {
            chooser_.open(FileChooser::Wanted::sound);
            chosen_ = [send = c.send](const std::string& path) { send(ask::StartReplay{path, {}}); };
        }
        choose_practice(c);
        ImGui::SetNextItemWidth(150.0F * c.scale);
        int number = static_cast<int>(practice_number_);
        if (whole_number(say(Word::practice_number), number))
            practice_number_ = static_cast<std::uint64_t>(std::clamp(number, 1, 1'000'000));
        ImGui::SameLine();
        ImGui::SetNextItemWidth(150.0F * c.scale);
        if (whole_number(say(Word::practice_pace), practice_pace_)) practice_pace_ = std::clamp(practice_pace_, 1, 20);
        label(c, say(Word::devices));
        ImGui::SetNextItemWidth(-1.0F);
        const auto& devices = c.view.devices;
        if (ImGui::BeginCombo("##device", device_.empty() ? say(Word::device_last) : device_.c_str())) {
            if (ImGui::IsWindowAppearing()) c.send(ask::ListDevices{});
            if (ImGui::Selectable(say(Word::device_last), device_.empty())) device_.clear();
            for (std::size_t i = 0; i < devices.size(); ++i)
                if (ImGui::Selectable((devices[i] + "##" + std::to_string(i)).c_str(), device_ == devices[i]))
                    device_ = devices[i];
            ImGui::EndCombo();
        }
        known_cases(c);
        if (button(c, say(Word::case_open))) {
            chooser_.open(FileChooser::Wanted::folder);
            chosen_ = [send = c.send](const std::string& path) { send(ask::OpenCase{path}); };
        }
        if (!c.view.case_folder.empty()) {
            ImGui::SameLine();
            if (button(c, say(Word::case_new))) c.send(ask::NewCase{});
            paragraph(say(Word::case_is, c.view.case_folder));
        }
    } else {
        paragraph(say(Word::sound_on, c.view.sound.source));
        if (!c.view.case_folder.empty()) paragraph(say(Word::case_is, c.view.case_folder));
    }

    ImGui::Separator();
    title(c, say(Word::engine));
    const bool heard = c.view.sound.running;  // with this engine: it cannot be another meanwhile
    const bool practice = heard && c.view.sound.mode == Mode::practice;
    if (heard) paragraph(say(practice ? Word::engine_practice : Word::engine_heard));
    if (heard && !form_fault_.empty()) {
        engine_.reset();
        form_fault_.clear();
    }
    if (!engine_) {
        engine_ = c.view.engine;
        order_text_ = order_text(*engine_);
    }
    Engine& e = *engine_;
    bool changed = false;
    ImGui::PushID(static_cast<int>(engine_edition_));  // what is typed for one engine stays off the next
    ImGui::BeginDisabled(practice);
    label(c, say(Word::engine_name));
    ImGui::SetNextItemWidth(-1.0F);
    changed |= ImGui::InputText("##name", &e.name);
    ImGui::EndDisabled();
    ImGui::BeginDisabled(heard);
    label(c, say(Word::cylinders));
    ImGui::SetNextItemWidth(150.0F * c.scale);
    if (whole_number("##cylinders", e.cylinders)) {
        e.cylinders = std::clamp(e.cylinders, 1, 12);
        e.firing_order = usual_order(e.cylinders);
        e.firing_angles_deg.clear();
        e.injection_groups.clear();
        e.banks.clear();
        order_text_ = order_text(e);
        changed = true;
    }
    label(c, say(Word::strokes));
    for (const int strokes : {4, 2}) {
        if (choice(c, strokes == 4 ? "4" : "2", e.strokes == strokes, 70.0F * c.scale)) {
            e.strokes = strokes;
            changed = true;
        }
        ImGui::SameLine();
    }
    ImGui::NewLine();
    if (e.cylinders % 2 == 0) {
        label(c, say(Word::rows));
        const std::array<Rows, 3> ways{one_row(e.cylinders), halves(e.cylinders), odd_and_even(e.cylinders)};
        for (std::size_t i = 0; i < (e.cylinders > 2 ? ways.size() : 2); ++i) {
            if (i > 0 && e.cylinders <= 4)
                ImGui::SameLine();
            else if (i > 0)
                label(c, "");
            const auto words = i == 0 ? std::string{say(Word::rows_one)} : rows_text(ways[i]);
            if (choice(c, words.c_str(), cylinder_banks(e) == ways[i])) {
                e.banks = ways[i];
                changed = true;
            }
        }
    }
    label(c, say(Word::firing_order));
    ImGui::SetNextItemWidth(-1.0F);
    changed |= ImGui::InputText("##order", &order_text_);
    label(c, say(Word::idle_range));
    const auto speed = [&](const char* id, double& value) {
        int v = static_cast<int>(value);
        ImGui::SetNextItemWidth(90.0F * c.scale);
        if (whole_number(id, v, 0)) {
            value = std::clamp(v, 0, 9999);
            changed = true;
        }
    };
    speed("##low", e.idle_low_rpm);
    ImGui::SameLine();
    ImGui::TextUnformatted(say(Word::idle_to));
    ImGui::SameLine();
    speed("##high", e.idle_high_rpm);
    label(c, say(Word::injection));
    const auto pick_injection = [&](Word word, Injection which) {
        if (choice(c, say(word), e.injection == which)) {
            e.injection = which;
            changed = true;
        }
        ImGui::SameLine();
    };
    pick_injection(Word::injection_sequential, Injection::sequential);
    pick_injection(Word::injection_simultaneous, Injection::simultaneous);
    if (ImGui::GetContentRegionAvail().x < 120.0F * c.scale) {
        ImGui::NewLine();
        label(c, "");
    }
    pick_injection(Word::injection_grouped, Injection::grouped);
    ImGui::NewLine();
    label(c, say(Word::idle_control));
    const auto pick_control = [&](Word word, IdleControl which) {
        if (choice(c, say(word), e.idle_control == which)) {
            e.idle_control = which;
            changed = true;
        }
        ImGui::SameLine();
    };
    pick_control(Word::idle_fixed, IdleControl::fixed);
    pick_control(Word::idle_regulated, IdleControl::regulated);
    ImGui::NewLine();
    ImGui::EndDisabled();
    ImGui::PopID();

    if (changed) {
        form_fault_.clear();
        const auto order = order_of(order_text_);
        if (!each_once(order, e.cylinders)) form_fault_ = say(Word::order_fault);
        if (!(e.idle_low_rpm >= 300.0 && e.idle_high_rpm <= 3000.0 && e.idle_high_rpm > e.idle_low_rpm))
            form_fault_ = say(Word::range_fault);
        if (form_fault_.empty()) {
            e.firing_order = order;
            if (e.injection == Injection::grouped && e.injection_groups.empty() && e.cylinders % 2 == 0 &&
                e.cylinders > 1) {
                // The usual pairing: cylinders whose turns lie one crank turn apart.
                const auto half = static_cast<std::size_t>(e.cylinders / 2);
                for (std::size_t i = 0; i < half; ++i) e.injection_groups.push_back({order[i], order[i + half]});
            }
            c.send(ask::SetEngine{e});
        }
    }
    if (!form_fault_.empty()) warning(c, form_fault_.c_str());
    const double low_hz = firing_frequency(e, Rpm{e.idle_low_rpm}).value;
    const double high_hz = firing_frequency(e, Rpm{e.idle_high_rpm}).value;
    paragraph(say(Word::derived, low_hz, high_hz, cycle_deg(e) / e.cylinders));
    if (e.idle_control == IdleControl::regulated) warning(c, say(Word::regulated_warning));
    paragraph(say(Word::keys_help));
    go_on(c, Stage::log, form_fault_.empty());
}

}  // namespace idlehark::gui
