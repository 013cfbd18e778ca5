// Engine files: whatever the text, a message or an engine that can exist; and what is written reads the same again.
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "tests/fuzz/fuzz.hpp"

using namespace idlehark;
using fuzz::must;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto json = parse_json_object(fuzz::text_of(data, size), "engine.json");
    if (!json) {
        must(!json.error().what.empty(), "a refusal says why");
        return 0;
    }
    const auto file = engine_from_json(json.value(), "engine.json");
    if (!file) {
        must(file.error().what.starts_with("engine.json"), "a refusal names the file");
        return 0;
    }
    check(file.value().engine);
    const auto again = engine_from_json(engine_json(file.value().engine), "again");
    must(static_cast<bool>(again), "what is written can be read");
    must(again.value().warnings.empty(), "what is written has no unknown key");
    must(engine_json(again.value().engine) == engine_json(file.value().engine), "nothing is lost on the way");
    static_cast<void>(firing_fractions(file.value().engine));
    static_cast<void>(cylinder_banks(file.value().engine));
    return 0;
}
