#include "gui/plots/order_fall.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

namespace idlehark::gui {

Rgb fall_colour(double db) noexcept {
    constexpr double kFull_db = 30.0;
    constexpr std::array<Rgb, 4> kStops{
        {{0xff, 0xff, 0xff}, {0xa9, 0xc8, 0xd4}, {0x3a, 0x77, 0x92}, {0x0a, 0x1c, 0x2b}}};
    if (!std::isfinite(db)) return palette::kShade;
    const double at = std::clamp(db / kFull_db, 0.0, 1.0) * static_cast<double>(kStops.size() - 1);
    const auto i = std::min(static_cast<std::size_t>(at), kStops.size() - 2);
    const double f = at - static_cast<double>(i);
    const auto mix = [f](std::uint8_t a, std::uint8_t b) {
        return static_cast<std::uint8_t>(std::lround(a + f * (static_cast<double>(b) - a)));
    };
    return {mix(kStops[i].r, kStops[i + 1].r), mix(kStops[i].g, kStops[i + 1].g), mix(kStops[i].b, kStops[i + 1].b)};
}

OrderFall::OrderFall(std::size_t orders, double highest_order, std::size_t rows)
    : orders_(orders), highest_(highest_order), rows_(rows) {
    if (orders < 2 || orders > 4096 || rows < 1 || rows > 4096 || !(highest_order > 0.0))
        throw std::invalid_argument("OrderFall: orders 2..4096, rows 1..4096, highest_order > 0");
    clear();
}

void OrderFall::clear() {
    const auto nothing = fall_colour(std::nan(""));
    pixels_.resize(4 * orders_ * rows_);
    for (std::size_t i = 0; i < pixels_.size(); i += 4) {
        pixels_[i] = nothing.r;
        pixels_[i + 1] = nothing.g;
        pixels_[i + 2] = nothing.b;
        pixels_[i + 3] = 255;
    }
    next_ = 0;
    changed_ = true;
}

void OrderFall::add(std::span<const float> level_db) {
    for (std::size_t i = 0; i < orders_; ++i) {
        const auto c = fall_colour(i < level_db.size() ? static_cast<double>(level_db[i]) : std::nan(""));
        auto* const p = pixels_.data() + 4 * (next_ * orders_ + i);
        p[0] = c.r;
        p[1] = c.g;
        p[2] = c.b;
    }
    next_ = (next_ + 1) % rows_;
    changed_ = true;
}

void OrderFall::draw(Canvas& canvas, const Box& on, double firing_order, bool followed) {
    if (!texture_) {
        texture_ = std::make_unique<sf::Texture>();
        if (!texture_->create(static_cast<unsigned>(orders_), static_cast<unsigned>(rows_))) return texture_.reset();
    }
    if (changed_) texture_->update(pixels_.data());
    changed_ = false;

    const double foot = canvas.px(22.0);
    const double head = canvas.px(16.0);
    const Box plot{on.x, on.y + head, on.w, std::max(1.0, on.h - foot - head)};
    // The ring of rows is shown in two parts, the older above.
    const auto part = [&](std::size_t from, std::size_t to) {
        const double row_px = plot.h / static_cast<double>(rows_);
        const auto age = static_cast<double>((from + rows_ - next_) % rows_);
        const auto count = static_cast<double>(to - from);
        if (count > 0.0)
            canvas.picture(*texture_, {0.0, static_cast<double>(from), static_cast<double>(orders_), count},
                           {plot.x, plot.y + age * row_px, plot.w, count * row_px});
    };
    part(next_, rows_);
    part(0, next_);

    const auto x_of = [&](double order) { return plot.x + plot.w * order / highest_; };
    if (!(firing_order > 0.0)) return;
    for (int tooth = 1; tooth * firing_order <= highest_; ++tooth) {
        const double x = x_of(tooth * firing_order);
        const auto colour = followed ? palette::kFault : palette::kFaintInk;
        // Teeth above and below, not across: the lines themselves must stay visible.
        canvas.line({x, on.y}, {x, plot.y}, canvas.px(3.0), colour);
        canvas.dashes({x, plot.y}, {x, plot.bottom()}, canvas.px(1.0), canvas.px(5.0), colour);
        canvas.line({x, plot.bottom()}, {x, plot.bottom() + canvas.px(5.0)}, canvas.px(3.0), colour);
    }
    const double step = std::max(1.0, std::ceil(canvas.px(34.0) / (x_of(1.0) - x_of(0.0))));
    for (double order = step; order < highest_; order += step)
        canvas.text({x_of(order), plot.bottom() + canvas.px(18.0)}, std::to_string(std::lround(order)),
                    {.size = Sizes::kSmallText, .align = Align::middle});
    canvas.line({on.x, on.y + canvas.px(1.0)}, {on.right(), on.y + canvas.px(1.0)}, canvas.px(2.0),
                followed ? palette::kFault : palette::kFaintInk);
    canvas.flush();
}

}  // namespace idlehark::gui
