#pragma once

#include "gui/plots/order_fall.hpp"
#include "gui/view_state.hpp"

#include <optional>
#include <string>

namespace idlehark::gui {

/// The waterfall of orders of what is heard now: for those who want to see why a speed is believed.
class OrdersPane {
   public:
    struct Say {
        std::string title, how, empty;
    };
    void draw(Canvas& canvas, const ViewState& view, const Box& on, const Say& say);

   private:
    void follow(const ViewState& view);

    std::optional<OrderFall> fall_;
    std::size_t columns_ = 0;
    double firing_order_ = 0.0;
    double newest_s_ = 0.0;
};

}  // namespace idlehark::gui
