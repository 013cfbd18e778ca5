#pragma once

#include "dsp/picture/picture_file.hpp"
#include "gui/flow/flow.hpp"
#include "gui/look/canvas.hpp"
#include "gui/look/fetch.hpp"
#include "gui/map/draw_map.hpp"
#include "gui/map/map_camera.hpp"
#include "gui/map/map_scene.hpp"
#include "gui/map/schematic.hpp"
#include "gui/shell/layout.hpp"
#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <SFML/Graphics/Texture.hpp>
#include <SFML/Window/Event.hpp>

namespace idlehark::gui {

/// The map within the window: what is shown on it, how it is turned to, and its mouse.
class MapPane {
   public:
    /// Draws into `place`; `flow` says what is chosen and holds the map while it is edited.
    void draw(Canvas& canvas, const PageContext& c, Flow& flow, Stage stage, const Rect& place);
    /// The mouse, while it is over the map or drags on it; true if it was taken.
    bool take(const sf::Event& event, const PageContext& c, Flow& flow, Stage stage, const Rect& place);
    /// A picture is being read: the window should look again soon.
    [[nodiscard]] bool waiting() const noexcept { return reading_.waiting() || arrival_ != nullptr; }

   private:
    void mark_cylinders(MapScene& scene, const PageContext& c, const BayMap& map, bool balance) const;
    void fetch_picture(const PageContext& c, const BayMap& map);
    [[nodiscard]] MapScene scene_of(const PageContext& c, const Flow& flow, Stage stage, const BayMap& map) const;

    Schematic schematic_;
    Engine drawn_engine_;
    std::vector<MapSpot> drawn_spots_;
    bool drawn_ = false;
    MapCamera camera_;
    MapLayout layout_;
    Box fitted_bounds_{}, fitted_area_{};
    std::string picture_path_;
    Fetch<DecodedPicture> reading_;
    PicturePixels arriving_;  ///< on its way to the graphics memory, strip by strip
    std::unique_ptr<sf::Texture> arrival_;
    std::uint32_t rows_there_ = 0;
    std::unique_ptr<sf::Texture> picture_;
    bool dragging_spot_ = false, panning_ = false, moved_ = false;
    Point mouse_{};
    std::optional<std::chrono::steady_clock::time_point> pressed_at_;
};

}  // namespace idlehark::gui
