#pragma once

#include "gui/look/canvas.hpp"
#include "gui/look/fonts.hpp"

#include <deque>
#include <functional>

#include <SFML/Graphics/RenderTarget.hpp>

namespace idlehark::gui {

/// Plots within a page of Dear ImGui: the page leaves room for them, and they are drawn when its draw list gets there,
/// so that they scroll with the page, are cut at its edge and lie below whatever lies above it.
class PlotPlaces {
   public:
    using Draw = std::function<void(Canvas&, const Box&)>;

    PlotPlaces(sf::RenderTarget& target, const Fonts& fonts) : target_(target), fonts_(fonts) {}
    PlotPlaces(const PlotPlaces&) = delete;
    PlotPlaces& operator=(const PlotPlaces&) = delete;

    /// Before the pages of a frame are laid out.
    void begin_frame(float scale);
    /// Room as wide as the page, so high at scale 1. `draw` is called when the frame is rendered: it holds what it
    /// needs, or points to what outlives the frame (the view state).
    void place(float height, Draw draw);

   private:
    struct Plot {
        Box box;
        Draw draw;
        PlotPlaces* owner;
    };
    void draw(const Plot& plot, const Box& visible) const;
    /// What ImGui calls; its types stay out of this header.
    struct Call;

    sf::RenderTarget& target_;
    const Fonts& fonts_;
    float scale_ = 1.0F;
    std::deque<Plot> plots_;  ///< of this frame; ImGui holds their addresses
};

}  // namespace idlehark::gui
