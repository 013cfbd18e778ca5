#pragma once

#include <algorithm>
#include <cmath>

/// Plain shapes on the screen, in pixels unless a name says otherwise; y points down.
namespace idlehark::gui {

struct Point {
    double x = 0.0;
    double y = 0.0;

    friend constexpr Point operator+(Point a, Point b) noexcept { return {a.x + b.x, a.y + b.y}; }
    friend constexpr Point operator-(Point a, Point b) noexcept { return {a.x - b.x, a.y - b.y}; }
    friend constexpr Point operator*(Point a, double k) noexcept { return {a.x * k, a.y * k}; }
    friend bool operator==(Point, Point) = default;
};

[[nodiscard]] inline double distance(Point a, Point b) noexcept { return std::hypot(a.x - b.x, a.y - b.y); }

struct Box {
    double x = 0.0;
    double y = 0.0;
    double w = 0.0;
    double h = 0.0;

    [[nodiscard]] constexpr double right() const noexcept { return x + w; }
    [[nodiscard]] constexpr double bottom() const noexcept { return y + h; }
    [[nodiscard]] constexpr Point middle() const noexcept { return {x + w / 2, y + h / 2}; }
    [[nodiscard]] constexpr bool holds(Point p) const noexcept {
        return p.x >= x && p.x <= right() && p.y >= y && p.y <= bottom();
    }
    [[nodiscard]] constexpr bool holds(const Box& b) const noexcept {
        return b.x >= x && b.y >= y && b.right() <= right() && b.bottom() <= bottom();
    }
    [[nodiscard]] constexpr Box inset(double by) const noexcept { return {x + by, y + by, w - 2 * by, h - 2 * by}; }
    friend bool operator==(const Box&, const Box&) = default;
};

/// The area that two boxes share; 0 if they only touch.
[[nodiscard]] constexpr double shared_area(const Box& a, const Box& b) noexcept {
    const double w = std::min(a.right(), b.right()) - std::max(a.x, b.x);
    const double h = std::min(a.bottom(), b.bottom()) - std::max(a.y, b.y);
    return w > 0.0 && h > 0.0 ? w * h : 0.0;
}

}  // namespace idlehark::gui
