#include "dsp/bay_map.hpp"

#include <algorithm>

namespace idlehark {

const MapSpot* BayMap::find(std::string_view spot) const noexcept {
    const auto it = std::find_if(spots.begin(), spots.end(), [&](const MapSpot& s) { return s.spot == spot; });
    return it == spots.end() ? nullptr : &*it;
}

}  // namespace idlehark
