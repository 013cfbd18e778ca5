#include "gui/plots/orders_pane.hpp"

#include "tests/gui/screens.hpp"

#include <cmath>
#include <limits>

using namespace idlehark;
using namespace idlehark::gui;

TEST_CASE("Orders pane: takes up new rows, starts afresh with another engine, and says when there is nothing",
          "[gui][plots][display]") {
    ViewState view;
    view.sound.locked = true;
    const auto add = [&view](double time_s, std::size_t columns) {
        OrderRow row{time_s, 800.0, std::vector<float>(columns, 0.0F)};
        for (std::size_t tooth = 1; tooth < 16; ++tooth) row.level_db[tooth * columns / 16] = 25.0F;
        view.orders.push_back(std::make_shared<const OrderRow>(std::move(row)));
    };
    OrdersPane pane;
    const OrdersPane::Say say{"Waterfall of orders", "Lines under the comb's teeth are why the speed is believed.",
                              "Start a sound first."};
    const Box all{0, 0, 900, 500};
    const auto draw = [&](Canvas& c) { pane.draw(c, view, all, say); };
    const auto empty = screen("orders_empty", 900, 500, 1.0, draw);
    CHECK(count_of(empty, all, palette::kFault) == 0);
    for (int i = 0; i < 100; ++i) add(0.25 * i, 480);
    const auto full = screen("orders", 900, 500, 1.0, draw);
    CHECK(count_of(full, all, palette::kFault) > 800);
    const auto dark = [&](const sf::Image& image, double from, double to) {
        int n = 0;
        for (double y = from; y < to; ++y)
            for (double x = 20; x < 880; x += 1) n += relative_luminance(colour_at(image, {x, y})) < 0.12 ? 1 : 0;
        return n;
    };
    CHECK(dark(full, 300, 460) > 1500);                      // lines, newest below
    CHECK(dark(full, 100, 180) < dark(full, 300, 380) / 2);  // nothing yet where 160 rows would reach
    view.engine.cylinders = 6;
    view.orders.clear();
    add(0.0, 480);
    const auto other = screen("orders_other", 900, 500, 1.0, draw);
    CHECK(dark(other, 200, 440) < dark(full, 200, 440) / 3);
}
