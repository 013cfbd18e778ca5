#pragma once

#include "dsp/finding.hpp"
#include "gui/look/palette.hpp"

namespace idlehark::gui {

using idlehark::Finding;
using idlehark::finding;

struct FindingColours {
    Rgb fill;
    Rgb on;  ///< of what is written on the fill
};

[[nodiscard]] constexpr FindingColours colours(Finding f) noexcept {
    switch (f) {
        case Finding::fault:
            return {palette::kFault, palette::kOnFault};
        case Finding::shadowed:
            return {palette::kShadowed, palette::kOnShadowed};
        case Finding::clear:
            return {palette::kClear, palette::kOnClear};
        case Finding::open:
            break;
    }
    return {palette::kOpen, palette::kOnOpen};
}

}  // namespace idlehark::gui
