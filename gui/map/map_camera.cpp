#include "gui/map/map_camera.hpp"

namespace idlehark::gui {

void MapCamera::fit(const Box& bounds_mm, const Box& area_px, double margin_px) {
    bounds_ = {bounds_mm.x, bounds_mm.y, std::max(bounds_mm.w, 1.0), std::max(bounds_mm.h, 1.0)};
    area_ = area_px;
    margin_px_ = margin_px;
    middle_mm_ = bounds_.middle();
    fit_px_per_mm_ =
        std::max(1e-6, std::min((area_.w - 2.0 * margin_px) / bounds_.w, (area_.h - 2.0 * margin_px) / bounds_.h));
    px_per_mm_ = fit_px_per_mm_;
}

void MapCamera::set_area(const Box& area_px) {
    if (area_px == area_) return;
    const double closer = px_per_mm_ / fit_px_per_mm_;
    const auto middle = middle_mm_;
    fit(bounds_, area_px, margin_px_);
    px_per_mm_ = fit_px_per_mm_ * closer;
    middle_mm_ = middle;
    stay_near();
}

void MapCamera::zoom(double factor, Point at_px) {
    const auto held = to_mm(at_px);
    px_per_mm_ = std::clamp(px_per_mm_ * factor, fit_px_per_mm_, kClosest * fit_px_per_mm_);
    middle_mm_ = middle_mm_ + (held - to_mm(at_px));
    stay_near();
}

void MapCamera::pan(Point by_px) {
    middle_mm_ = middle_mm_ - by_px * (1.0 / px_per_mm_);
    stay_near();
}

/// The bay never leaves the screen: its edge stops at the middle, and a bay that is wholly seen lies in the middle.
void MapCamera::stay_near() noexcept {
    if (whole()) {
        middle_mm_ = bounds_.middle();
        return;
    }
    middle_mm_.x = std::clamp(middle_mm_.x, bounds_.x, bounds_.right());
    middle_mm_.y = std::clamp(middle_mm_.y, bounds_.y, bounds_.bottom());
}

Point MapCamera::to_px(Point mm) const noexcept { return area_.middle() + (mm - middle_mm_) * px_per_mm_; }

Point MapCamera::to_mm(Point px) const noexcept { return middle_mm_ + (px - area_.middle()) * (1.0 / px_per_mm_); }

}  // namespace idlehark::gui
