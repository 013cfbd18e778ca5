#pragma once

#include "gui/look/canvas.hpp"

#include <cstddef>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include <SFML/Graphics/Texture.hpp>

namespace idlehark::gui {

/// How loud each order (multiple of the crank's turning) is, over time: newest below. With the comb of the firing drawn
/// in one sees why a speed is believed: its lines stand on the comb's teeth.
class OrderFall {
   public:
    /// `orders` columns from order 0 to `highest_order`; `rows` of history.
    OrderFall(std::size_t orders, double highest_order, std::size_t rows);

    /// One more row, decibels over that row's own floor; as long as `orders`. NaN: nothing heard.
    void add(std::span<const float> level_db);
    void clear();

    /// `firing_order`: firings per turn (cylinders / 2 for a four-stroke); `followed`: is a speed known now?
    void draw(Canvas& canvas, const Box& on, double firing_order, bool followed);

    [[nodiscard]] std::size_t orders() const noexcept { return orders_; }

   private:
    std::size_t orders_;
    double highest_;
    std::size_t rows_;
    std::size_t next_ = 0;
    std::vector<std::uint8_t> pixels_;
    std::unique_ptr<sf::Texture> texture_;  ///< made by the first draw(): needs a display
    bool changed_ = true;
};

/// Paper for silence, ink for 30 dB over the floor; lightness falls steadily, so it reads in grey as well.
[[nodiscard]] Rgb fall_colour(double db) noexcept;

}  // namespace idlehark::gui
