#include "gui/flow/flow.hpp"

#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"

#include <algorithm>
#include <utility>

#include <imgui.h>

namespace idlehark::gui {

namespace {
void lead_on(const PageContext& c, const WayOn& way) {
    if (way.to &&
        button(c, fmt::format("{}: {} →", c.say(Word::go_on), c.say(name_of(*way.to))), 0.0F, true, way.enabled))
        c.go(*way.to);
}
}  // namespace

void Flow::page(const PageContext& c, Stage stage) {
    switch (stage) {
        case Stage::describe:
            return describe(c);
        case Stage::log:
            return log(c);
        case Stage::map:
            return map(c);
        case Stage::gate:
            return gate(c);
        case Stage::settle:
            return settle(c);
        case Stage::listen_first:
            return listen_first(c);
        case Stage::spray:
            return spray(c);
        case Stage::injectors:
            return injectors_or_balance(c);
        case Stage::compare:
            return compare(c);
        case Stage::report:
            return report(c);
    }
}

void Flow::draw(const PageContext& c, Stage stage, const Rect& place) {
    if (place.empty()) return;
    ImGui::SetNextWindowPos({place.x, place.y});
    ImGui::SetNextWindowSize({place.w, place.h});
    // One window a page, so that the keyboard's place on it is its own.
    const auto id = "##page" + std::to_string(static_cast<int>(stage));
    const bool turned = stage != shown_;
    if (turned) {
        ImGui::SetNextWindowFocus();
        way_on_ = {};
    }
    shown_ = stage;
    constexpr auto kStill = ImGuiWindowFlags_NoDecoration | ImGuiWindowFlags_NoMove | ImGuiWindowFlags_NoSavedSettings |
                            ImGuiWindowFlags_NoBringToFrontOnFocus;
    if (ImGui::Begin(id.c_str(), nullptr, kStill)) {
        // Where the page is low, the way on scrolls with it.
        const bool low = place.h < 300.0F * c.scale;
        const float foot = way_on_.to && !low ? 62.0F * c.scale : 0.0F;
        WayOn now;
        PageContext with = c;
        with.way_on = &now;
        if (ImGui::BeginChild("##body", {0.0F, -foot}, false, ImGuiWindowFlags_NavFlattened)) {
            if (turned) ImGui::SetScrollY(0.0F);
            page(with, stage);
            if (low) lead_on(c, now);
        }
        ImGui::EndChild();
        way_on_ = now;
        if (foot > 0.0F) lead_on(c, now);
    }
    ImGui::End();
}

void Flow::draw_above(const PageContext& c, Size window) {
    // The forms follow the state when it is changed by others: an opened case, a practice bay.
    if (c.view.engine_edition != engine_edition_) {
        engine_edition_ = c.view.engine_edition;
        engine_.reset();
        form_fault_.clear();
        log_.reset();
    }
    if (!std::exchange(number_held_, false)) take_number(c);

    if (c.view.fault && chooser_.is_open()) close_popup();  // it would hide the fault
    if (const auto path = chooser_.draw(c.say, c.scale); path && chosen_) chosen_(*path);

    const auto& fault = c.view.fault;
    if (!fault && !c.view.job.running) return;
    const float w = std::min(0.9F * window.w, (fault ? 640.0F : 380.0F) * c.scale);
    // A fault stands in the middle; work that goes on by itself keeps out of the way, above the instruments.
    if (fault)
        ImGui::SetNextWindowPos({0.5F * window.w, 0.5F * window.h}, ImGuiCond_Always, {0.5F, 0.5F});
    else
        ImGui::SetNextWindowPos({0.35F * window.w, 0.84F * window.h}, ImGuiCond_Always, {0.5F, 1.0F});
    ImGui::SetNextWindowSizeConstraints({w, 0.0F}, {w, 0.9F * window.h});
    constexpr auto kBox = ImGuiWindowFlags_NoTitleBar | ImGuiWindowFlags_NoMove | ImGuiWindowFlags_AlwaysAutoResize |
                          ImGuiWindowFlags_NoSavedSettings;
    ImGui::PushStyleVar(ImGuiStyleVar_WindowBorderSize, 3.0F * c.scale);
    // Enter must not cancel work by being meant for the page; Esc does.
    if (ImGui::Begin(fault ? "##fault" : "##job", nullptr, fault ? kBox : kBox | ImGuiWindowFlags_NoFocusOnAppearing)) {
        if (fault) {
            warning(c, c.say.known(fault->what).c_str());
            if (!fault->hint.empty()) paragraph(c.say.known(fault->hint));
            if (ImGui::IsWindowAppearing()) ImGui::SetKeyboardFocusHere();
            if (button(c, c.say(Word::close), 140.0F * c.scale, true)) c.send(ask::CloseFault{fault->number});
        } else {
            paragraph(c.say.known(c.view.job.what));
            ImGui::ProgressBar(static_cast<float>(c.view.job.done), {-1.0F, 30.0F * c.scale});
            if (button(c, c.say(Word::cancel), 140.0F * c.scale)) c.send(ask::CancelJob{});
        }
    }
    ImGui::End();
    ImGui::PopStyleVar();
}

}  // namespace idlehark::gui
