#include "gui/flow/sentence.hpp"
#include "gui/flow/widgets.hpp"
#include "gui/map/schematic.hpp"

#include <algorithm>
#include <utility>

#include <imgui.h>
#include <imgui_stdlib.h>

namespace idlehark::gui {

bool Flow::map_editable(const PageContext& c, Stage stage) {
    return stage == Stage::map && c.view.sound.mode != Mode::practice && c.view.spray.bursts == 0;
}

const BayMap& Flow::map_shown(const PageContext& c, Stage stage) {
    if (c.view.map_edition != map_edition_) {  // another map came in: an opened case, a practice bay
        map_edition_ = c.view.map_edition;
        editor_ = MapEditor{c.view.map, c.view.engine.cylinders};
        selected_spot_.clear();
        typed_number_ = {};
    }
    editor_.set_cylinders(c.view.engine.cylinders);
    const auto& map = map_editable(c, stage) ? editor_.map() : c.view.map;
    if (!map.find(selected_spot_)) selected_spot_.clear();
    return map;
}

void Flow::place_spot(const PageContext& c, double x_mm, double y_mm) {
    std::string id;
    map_refusal_ = editor_.place(x_mm, y_mm, SpotKind::other, id);
    if (!map_refusal_.empty()) return;
    selected_spot_ = id;
    send_map(c);
}

void Flow::undo(const PageContext& c, bool redo) {
    if (!map_editable(c, Stage::map)) return;
    redo ? editor_.redo() : editor_.undo();
    send_map(c);
}

/// What was typed as a spot's number counts as soon as its field is left, whichever way.
void Flow::take_number(const PageContext& c) {
    const auto [spot, number] = std::exchange(typed_number_, {});
    const bool same_map = c.view.map_edition == map_edition_;
    if (number == spot || !same_map || !map_editable(c, Stage::map)) return;
    map_refusal_ = editor_.renumber(spot, number);
    if (!map_refusal_.empty()) return;
    if (selected_spot_ == spot) selected_spot_ = trimmed(number);
    send_map(c);
}

void Flow::map(const PageContext& c) {
    const auto& say = c.say;
    const BayMap& map = map_shown(c, Stage::map);
    const bool fixed = !map_editable(c, Stage::map);
    if (fixed)
        warning(c, say(c.view.sound.mode == Mode::practice ? Word::map_practice
                       : test_runs(c.view)                 ? Word::map_fixed
                                                           : Word::map_over));
    else
        paragraph(say(Word::map_intro));
    const float width = ImGui::GetContentRegionAvail().x;
    const float small = std::min(140.0F * c.scale, 0.5F * width);
    const auto refused = [&](std::string why) {
        map_refusal_ = std::move(why);
        if (map_refusal_.empty()) send_map(c);
    };
    if (fixed) ImGui::BeginDisabled();
    const Schematic usual = draw_schematic(c.view.engine);
    if (map.spots.empty()) {
        if (button(c, say(Word::map_usual), width, true)) refused(editor_.replace_spots(usual.spots));
    }
    if (button(c, say(Word::map_add))) {
        const Point middle = usual.bounds_mm.middle();
        const auto n = static_cast<double>(map.spots.size());
        place_spot(c, middle.x + 20.0 * (n - 8.0 * static_cast<int>(n / 8.0)), middle.y + 40.0);
    }
    next_in_row(130.0F * c.scale);
    if (button(c, say(map.picture.empty() ? Word::map_photo : Word::map_no_photo))) {
        if (map.picture.empty()) {
            chooser_.open(FileChooser::Wanted::picture);
            chosen_ = [this, send = c.send](const std::string& path) {
                map_refusal_ = editor_.set_picture(path, editor_.map().picture_width_mm);
                if (map_refusal_.empty()) send(ask::SetMap{editor_.map()});
            };
        } else {
            refused(editor_.set_picture("", map.picture_width_mm));
        }
    }
    next_in_row(110.0F * c.scale);
    if (button(c, say(Word::map_undo), 0.0F, false, editor_.can_undo())) undo(c, false);
    next_in_row(110.0F * c.scale);
    if (button(c, say(Word::map_redo), 0.0F, false, editor_.can_redo())) undo(c, true);
    if (!map.picture.empty()) {
        label(c, say(Word::map_photo_width));
        int width_mm = static_cast<int>(map.picture_width_mm);
        ImGui::SetNextItemWidth(small);
        if (whole_number("##photo_width", width_mm, 20)) refused(editor_.set_picture(map.picture, width_mm));
    }
    if (fixed) ImGui::EndDisabled();
    if (!map_refusal_.empty()) warning(c, say.known(map_refusal_).c_str());

    const float left = ImGui::GetContentRegionAvail().y;
    const float list_h = std::max(selected_spot_.empty() ? left - 90.0F * c.scale : 0.38F * left, 110.0F * c.scale);
    if (ImGui::BeginChild("##spots", {0.0F, list_h}, true)) {
        for (const auto& s : map.spots) {
            const bool chosen = s.spot == selected_spot_;
            if (ImGui::Selectable((s.spot + "   " + say.known(s.name) + "##" + s.spot).c_str(), chosen, 0,
                                  {0.0F, 32.0F * c.scale}))
                selected_spot_ = s.spot;
        }
    }
    ImGui::EndChild();
    if (const MapSpot* spot = map.find(selected_spot_); spot && !fixed) {
        const MapSpot s = *spot;        // the editor moves its spots about
        ImGui::PushID(s.spot.c_str());  // another spot's fields are others: what is typed here stays here
        label(c, say(Word::map_number));
        ImGui::SetNextItemWidth(small);
        std::string number = s.spot;
        ImGui::InputText("##number", &number);
        number_held_ = ImGui::IsItemActive();
        if (number_held_ || number != s.spot) typed_number_ = {s.spot, number};
        label(c, say(Word::map_name));
        ImGui::SetNextItemWidth(-1.0F);
        std::string name = s.name;
        if (ImGui::InputText("##name", &name)) refused(editor_.rename(s.spot, name));
        label(c, say(Word::map_kind));
        ImGui::SetNextItemWidth(-1.0F);
        if (ImGui::BeginCombo("##kind", say.known(std::string{word(s.kind)}).c_str())) {
            for (std::size_t k = 0; k < kSpotKindWords.size(); ++k)
                if (ImGui::Selectable(say.known(std::string{kSpotKindWords[k]}).c_str(),
                                      s.kind == static_cast<SpotKind>(k)))
                    refused(editor_.set_kind(s.spot, static_cast<SpotKind>(k)));
            ImGui::EndCombo();
        }
        label(c, say(Word::map_cylinder));
        int cylinder = s.cylinder.value_or(0);
        ImGui::SetNextItemWidth(small);
        if (whole_number("##cylinder", cylinder))
            refused(editor_.set_cylinder(s.spot, cylinder >= 1 ? std::optional{cylinder} : std::nullopt));
        int x = static_cast<int>(s.x_mm);
        int y = static_cast<int>(s.y_mm);
        const auto place = [&](Word w, int& mm, const char* id) {
            label(c, say(w));
            ImGui::SetNextItemWidth(small);
            if (!whole_number(id, mm, 10)) return;
            editor_.begin_drag(s.spot);
            editor_.drag_to(x, y);
            editor_.end_drag();
            send_map(c);
        };
        place(Word::map_x, x, "##x");
        place(Word::map_y, y, "##y");
        if (button(c, say(Word::map_remove))) {
            refused(editor_.remove(s.spot));
            selected_spot_.clear();
        }
        ImGui::PopID();
    }
    go_on(c, Stage::gate, !map.spots.empty());
    if (!fixed) paragraph(say(Word::map_mouse));
}

}  // namespace idlehark::gui
