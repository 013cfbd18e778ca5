#include "gui/map/map_editor.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace idlehark::gui {

namespace {

constexpr std::size_t kMostSteps = 200;

std::string unknown(std::string_view spot) { return "There is no spot " + std::string{spot} + "."; }

double within(double v) {
    return std::isfinite(v) ? std::round(std::clamp(v, -MapEditor::kFarthest_mm, MapEditor::kFarthest_mm)) : 0.0;
}

}  // namespace

std::string_view trimmed(std::string_view s) noexcept {
    while (!s.empty() && s.front() == ' ') s.remove_prefix(1);
    while (!s.empty() && s.back() == ' ') s.remove_suffix(1);
    return s;
}

MapSpot* MapEditor::find(std::string_view spot) noexcept {
    const auto it = std::find_if(map_.spots.begin(), map_.spots.end(), [&](const auto& s) { return s.spot == spot; });
    return it == map_.spots.end() ? nullptr : &*it;
}

void MapEditor::keep(BayMap before) {
    if (before == map_) return;
    if (past_.size() == kMostSteps) past_.erase(past_.begin());
    past_.push_back(std::move(before));
    future_.clear();
}

template <class Change>
std::string MapEditor::change(std::string_view spot, Change apply) {
    end_drag();
    auto before = map_;
    auto* const s = find(spot);
    if (!s) return unknown(spot);
    apply(*s);
    keep(std::move(before));
    return {};
}

std::string MapEditor::place(double x_mm, double y_mm, SpotKind kind, std::string& id) {
    end_drag();
    if (map_.spots.size() >= kMostSpots) return "A map holds at most " + std::to_string(kMostSpots) + " spots.";
    int number = 1;
    while (map_.find(std::to_string(number))) ++number;
    auto before = map_;
    id = std::to_string(number);
    map_.spots.push_back(
        {.spot = id, .name = {}, .kind = kind, .x_mm = within(x_mm), .y_mm = within(y_mm), .cylinder = std::nullopt});
    keep(std::move(before));
    return {};
}

std::string MapEditor::renumber(std::string_view spot, std::string_view id) {
    id = trimmed(id);
    if (id.empty()) return "A spot needs a number or a short text.";
    if (id.size() > kLongestId)
        return "\"" + std::string{id} + "\" is longer than " + std::to_string(kLongestId) + " characters.";
    if (id.find_first_of(",;\"\t\n") != std::string_view::npos)
        return "A spot's number holds no comma, semicolon or quote.";
    if (id != spot && map_.find(id)) return "There is a spot " + std::string{id} + " already.";
    return change(spot, [&](MapSpot& s) { s.spot = id; });
}

std::string MapEditor::rename(std::string_view spot, std::string_view name) {
    if (name.size() > kLongestName) return "A name has at most " + std::to_string(kLongestName) + " characters.";
    return change(spot, [&](MapSpot& s) { s.name = trimmed(name); });
}

std::string MapEditor::set_kind(std::string_view spot, SpotKind kind) {
    return change(spot, [&](MapSpot& s) { s.kind = kind; });
}

std::string MapEditor::set_cylinder(std::string_view spot, std::optional<int> cylinder) {
    if (cylinder && (*cylinder < 1 || *cylinder > cylinders_))
        return "Cylinder " + std::to_string(*cylinder) + " is not in 1.." + std::to_string(cylinders_) + ".";
    return change(spot, [&](MapSpot& s) { s.cylinder = cylinder; });
}

std::string MapEditor::remove(std::string_view spot) {
    end_drag();
    if (!find(spot)) return unknown(spot);
    auto before = map_;
    std::erase_if(map_.spots, [&](const MapSpot& s) { return s.spot == spot; });
    keep(std::move(before));
    return {};
}

std::string MapEditor::set_picture(std::string_view file, double width_mm) {
    end_drag();
    if (!(width_mm >= 1.0 && width_mm <= kFarthest_mm)) return "The picture's width is not in 1..10000 mm.";
    auto before = map_;
    map_.picture = file;
    map_.picture_width_mm = width_mm;
    keep(std::move(before));
    return {};
}

std::string MapEditor::replace_spots(std::vector<MapSpot> spots) {
    end_drag();
    if (spots.size() > kMostSpots) return "A map holds at most " + std::to_string(kMostSpots) + " spots.";
    auto before = map_;
    map_.spots = std::move(spots);
    keep(std::move(before));
    return {};
}

void MapEditor::begin_drag(std::string_view spot) {
    end_drag();
    if (const auto* const s = find(spot)) drag_ = Drag{static_cast<std::size_t>(s - map_.spots.data()), map_};
}

void MapEditor::drag_to(double x_mm, double y_mm) {
    if (!drag_) return;
    map_.spots[drag_->spot].x_mm = within(x_mm);
    map_.spots[drag_->spot].y_mm = within(y_mm);
}

void MapEditor::end_drag() {
    if (!drag_) return;
    auto before = std::move(drag_->before);
    drag_.reset();
    keep(std::move(before));
}

void MapEditor::undo() {
    end_drag();
    if (past_.empty()) return;
    future_.push_back(std::exchange(map_, std::move(past_.back())));
    past_.pop_back();
}

void MapEditor::redo() {
    end_drag();
    if (future_.empty()) return;
    past_.push_back(std::exchange(map_, std::move(future_.back())));
    future_.pop_back();
}

}  // namespace idlehark::gui
