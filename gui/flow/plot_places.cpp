#include "gui/flow/plot_places.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <SFML/OpenGL.hpp>
#include <imgui.h>

namespace idlehark::gui {

struct PlotPlaces::Call {
    static void back(const ImDrawList*, const ImDrawCmd* command) {
        const auto& plot = *static_cast<const Plot*>(command->UserCallbackData);
        const auto& clip = command->ClipRect;
        plot.owner->draw(
            plot, {double{clip.x}, double{clip.y}, double{clip.z} - double{clip.x}, double{clip.w} - double{clip.y}});
    }
};

void PlotPlaces::begin_frame(float scale) {
    scale_ = scale;
    plots_.clear();
}

void PlotPlaces::place(float height, Draw draw) {
    const auto at = ImGui::GetCursorScreenPos();
    const ImVec2 size{std::max(1.0F, ImGui::GetContentRegionAvail().x), height * scale_};
    ImGui::Dummy(size);
    if (!ImGui::IsItemVisible()) return;
    plots_.push_back({{double{at.x}, double{at.y}, double{size.x}, double{size.y}}, std::move(draw), this});
    ImGui::GetWindowDrawList()->AddCallback(&Call::back, &plots_.back());
}

void PlotPlaces::draw(const Plot& plot, const Box& visible) const {
    target_.pushGLStates();
    glDisable(GL_SCISSOR_TEST);  // ImGui's
    {
        Canvas canvas{target_, fonts_, double{scale_}};
        canvas.clip_to(visible);
        plot.draw(canvas, plot.box);
    }
    target_.popGLStates();
}

}  // namespace idlehark::gui
