#include "src/files/map_file.hpp"

#include "src/files/json_text.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"

#include <fmt/format.h>

namespace idlehark {

namespace {
constexpr double kFarthest_mm = 10000.0;
constexpr std::size_t kMostSpots = 200;
}  // namespace

Result<MapFile> read_map(const std::string& path, int cylinders) {
    const auto json = read_json_object(path);
    if (!json) return json.error();
    return map_from_json(json.value(), file_name(path), cylinders);
}

Result<MapFile> map_from_json(const Json& json, const std::string& file, int cylinders) {
    const std::vector<std::string_view> kinds(kSpotKindWords.begin(), kSpotKindWords.end());

    JsonFields top{json, file};
    top.expect({"name", "picture", "picture_width_mm", "spots"});
    MapFile result;
    result.map.name = top.text("name").value_or("");
    result.map.picture = top.text("picture").value_or("");
    result.map.picture_width_mm =
        top.number("picture_width_mm", 1.0, kFarthest_mm).value_or(result.map.picture_width_mm);
    result.warnings = top.warnings();
    if (top.error()) return *top.error();

    const auto spots = json.find("spots");
    if (spots == json.end() || !spots->is_array() || spots->empty())
        return Error{file + ": spots: must be a list with at least one spot", ""};
    if (spots->size() > kMostSpots)
        return Error{fmt::format("{}: spots: {} spots are more than {}", file, spots->size(), kMostSpots), ""};

    for (std::size_t i = 0; i < spots->size(); ++i) {
        const auto place = fmt::format("spots[{}]", i);
        if (!(*spots)[i].is_object()) return Error{fmt::format("{}: {}: is not an object", file, place), ""};
        JsonFields fields{(*spots)[i], file, place};
        fields.expect({"spot", "name", "kind", "x_mm", "y_mm", "cylinder"});
        for (const char* key : {"spot", "x_mm", "y_mm"})
            if (!(*spots)[i].contains(key)) fields.missing(key, "every spot has spot, x_mm and y_mm");
        MapSpot spot;
        spot.spot = trimmed(fields.text("spot").value_or(""));
        spot.name = fields.text("name").value_or("");
        if (const auto k = fields.word("kind", kinds)) spot.kind = static_cast<SpotKind>(*k);
        spot.x_mm = fields.number("x_mm", -kFarthest_mm, kFarthest_mm).value_or(0.0);
        spot.y_mm = fields.number("y_mm", -kFarthest_mm, kFarthest_mm).value_or(0.0);
        spot.cylinder = fields.whole("cylinder", 1, cylinders);
        if (!fields.error() && spot.spot.empty()) fields.complain(fields.at("spot") + ": is empty");
        if (!fields.error() && result.map.find(spot.spot))
            fields.complain(fmt::format("{}: \"{}\" names two spots", fields.at("spot"), spot.spot));
        if (fields.error()) return *fields.error();
        result.warnings.insert(result.warnings.end(), fields.warnings().begin(), fields.warnings().end());
        result.map.spots.push_back(std::move(spot));
    }
    return result;
}

Json map_json(const BayMap& map) {
    Json json{{"name", map.name}};
    if (!map.picture.empty()) {
        json["picture"] = map.picture;
        json["picture_width_mm"] = map.picture_width_mm;
    }
    json["spots"] = Json::array();
    for (const auto& s : map.spots) {
        Json spot{{"spot", s.spot}, {"name", s.name}, {"kind", word(s.kind)}, {"x_mm", s.x_mm}, {"y_mm", s.y_mm}};
        if (s.cylinder) spot["cylinder"] = *s.cylinder;
        json["spots"].push_back(std::move(spot));
    }
    return json;
}

Result<Done> write_map(const std::string& path, const BayMap& map) {
    return write_text(path, map_json(map).dump(2) + "\n");
}

}  // namespace idlehark
