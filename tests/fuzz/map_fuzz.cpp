// Map files: a message or a map; what is written reads the same again; and the map can be drawn.
#include "src/files/json_text.hpp"
#include "src/files/map_file.hpp"
#include "src/report/report_map.hpp"
#include "tests/fuzz/fuzz.hpp"

using namespace idlehark;
using fuzz::must;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto json = parse_json_object(fuzz::text_of(data, size), "map.json");
    if (!json) return 0;
    const auto file = map_from_json(json.value(), "map.json", 4);
    if (!file) {
        must(file.error().what.starts_with("map.json"), "a refusal names the file");
        return 0;
    }
    const auto& map = file.value().map;
    const auto again = map_from_json(map_json(map), "again", 4);
    must(again && again.value().map.spots == map.spots && again.value().map.name == map.name,
         "what is written reads the same again");
    CaseReport report;
    report.map = map;
    must(!map_svg(report, "m").empty(), "any map can be drawn");
    return 0;
}
