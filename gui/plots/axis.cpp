#include "gui/plots/axis.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::gui {

std::vector<double> Axis::ticks(int most) const {
    std::vector<double> list;
    const double range = high - low;
    if (!(range > 0.0) || most < 1) return list;
    double step = std::pow(10.0, std::floor(std::log10(range / most)));
    for (const double m : {2.0, 2.5, 2.0})  // 1, 2, 5, 10
        if (std::floor(high / step + 1e-9) - std::ceil(low / step - 1e-9) + 1.0 > most) step *= m;
    for (double k = std::ceil(low / step - 1e-9); k * step <= high + 1e-9 * range; ++k) list.push_back(k * step);
    return list;
}

Axis roomy_axis(double low, double high, double least, double from_px, double to_px) {
    const double wider = std::max(0.0, least - (high - low)) / 2.0 + 0.04 * std::max(high - low, least);
    return {low - wider, high + wider, from_px, to_px};
}

}  // namespace idlehark::gui
