#pragma once

#include "gui/look/geometry.hpp"

namespace idlehark::gui {

/// Which part of the bay is seen where: millimetres to pixels and back.
class MapCamera {
   public:
    /// Shows the whole of `bounds_mm` in `area_px`, with `margin_px` around.
    void fit(const Box& bounds_mm, const Box& area_px, double margin_px);
    /// Another area (the window's size changed): what was in the middle stays there.
    void set_area(const Box& area_px);

    /// Larger or smaller by `factor`; what is below `at_px` stays there. From the whole bay to kClosest times that.
    void zoom(double factor, Point at_px);
    void pan(Point by_px);
    [[nodiscard]] bool whole() const noexcept { return px_per_mm_ <= fit_px_per_mm_ * 1.001; }

    [[nodiscard]] Point to_px(Point mm) const noexcept;
    [[nodiscard]] Point to_mm(Point px) const noexcept;
    [[nodiscard]] double px_per_mm() const noexcept { return px_per_mm_; }
    [[nodiscard]] const Box& area() const noexcept { return area_; }

    static constexpr double kClosest = 12.0;

   private:
    void stay_near() noexcept;

    Box area_{0, 0, 1, 1};
    Box bounds_{0, 0, 1, 1};
    double margin_px_ = 0.0;
    Point middle_mm_;
    double px_per_mm_ = 1.0;
    double fit_px_per_mm_ = 1.0;
};

}  // namespace idlehark::gui
