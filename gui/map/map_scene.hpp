#pragma once

#include "gui/look/finding.hpp"
#include "gui/look/geometry.hpp"
#include "gui/map/label_layout.hpp"
#include "gui/map/map_camera.hpp"
#include "gui/map/schematic.hpp"

#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sf {
class Texture;
}

namespace idlehark::gui {

/// One spot as the map shows it. Words come in the user's language.
struct SpotMark {
    std::string spot{};
    std::string name{};
    Point at_mm{};
    std::optional<Finding> finding{};  ///< nothing: not tested yet
    std::string verdict{};             ///< in words
    double value = std::nan("");       ///< what is measured, and its interval; NaN: no whisker is drawn
    double low = std::nan("");
    double high = std::nan("");
    int bursts = 0;
    bool along = false;  ///< to be sprayed in the same pass as the next one
};

enum class MapLabels {
    names,     ///< where the joints are: while the map is made
    evidence,  ///< what is known of them
};

/// All that the map shows.
struct MapScene {
    const Schematic* schematic = nullptr;  ///< drawn if there is no picture
    const sf::Texture* picture = nullptr;  ///< upright; its top left corner is 0, 0
    double picture_width_mm = 0.0;
    std::vector<SpotMark> spots{};
    MapLabels labels = MapLabels::evidence;
    std::string next{};       ///< the spot to spray now; empty: none
    std::string next_word{};  ///< "SPRAY HERE"; may be empty
    std::string chosen{};     ///< picked by the user
    /// What a part of the schematic is called in the user's language; without it as the schematic has it.
    std::function<std::string(const Part&)> part_name{};
    double matters = 15.0;  ///< the change that matters: marked on the whiskers
};

/// Size of a verdict's word on a label, at 100 %.
[[nodiscard]] constexpr double verdict_size(Finding f) noexcept { return f == Finding::fault ? 20.0 : 16.0; }

/// How much a label says; the most that has room everywhere is taken.
enum class LabelForm { whole, word, none };

struct MapLayout {
    struct Plate {
        Box box;      ///< with the number
        Point joint;  ///< the place itself; outside the box where plates had to give way
        std::optional<Box> label;
    };
    std::vector<Plate> plates;  ///< in the scene's order
    LabelForm form = LabelForm::whole;
    std::optional<std::size_t> next;
    std::optional<std::size_t> chosen;
    double whisker_span = 30.0;  ///< the value at a whisker's right end; its left end is minus that
};

/// Width in pixels of words at a size (at 100 %).
using TextMeasure = std::function<double(std::string_view words, double size, bool bold)>;

/// Finds everything its place: pure, no display needed.
/// Plates never overlap each other, labels overlap neither plates nor labels, as long as the area holds the plates. The
/// next spot always has its label: where there is no room it lies over others, never over its own plate.
[[nodiscard]] MapLayout lay_out(const MapScene& scene, const MapCamera& camera, const TextMeasure& measure,
                                double scale);

/// The spot whose plate or joint lies under a pointer; the nearest within a finger's width.
[[nodiscard]] std::optional<std::size_t> spot_at(const MapLayout& layout, Point px, double scale);

/// What `MapCamera::fit` shows whole: the schematic or the picture, and every spot.
[[nodiscard]] Box bounds_of(const MapScene& scene, double picture_height_per_width);

}  // namespace idlehark::gui
