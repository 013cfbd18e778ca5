#pragma once

#include "dsp/bay_map.hpp"
#include "src/files/json.hpp"
#include "src/result.hpp"

#include <string>
#include <vector>

namespace idlehark {

struct MapFile {
    BayMap map;
    std::vector<std::string> warnings;
};

/// Reads a map of numbered spots (JSON). Per spot `spot`, `x_mm`, `y_mm` must be there; name, kind ("other") and
/// cylinder are optional, and so are the map's name, picture and picture_width_mm (800). Errors name file, place
/// ("spots[3].kind"), value and what is allowed.
Result<MapFile> read_map(const std::string& path, int cylinders);
/// The same from the object itself; `file` names it in messages.
Result<MapFile> map_from_json(const Json& json, const std::string& file, int cylinders);

[[nodiscard]] Json map_json(const BayMap& map);
Result<Done> write_map(const std::string& path, const BayMap& map);

}  // namespace idlehark
