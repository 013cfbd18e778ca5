#pragma once

#include "gui/shell/layout.hpp"

#include <SFML/Window/Event.hpp>

namespace sf {
class Window;
}

namespace idlehark::gui {

/// Hands SFML's events on to Dear ImGui, and its clipboard back.
class EventFeed {
   public:
    /// There must be a current ImGui context, and it must outlive this.
    EventFeed();
    void take(const sf::Event& event);
    void begin_frame(Size size, float seconds_since_last);
};

}  // namespace idlehark::gui
