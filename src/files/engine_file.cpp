#include "src/files/engine_file.hpp"

#include "src/files/json_text.hpp"
#include "src/files/text_file.hpp"

#include <stdexcept>

namespace idlehark {

namespace {
// In the order of the enums.
const std::vector<std::string_view> kInjectionWords{"simultaneous", "grouped", "sequential"};
const std::vector<std::string_view> kIdleControlWords{"fixed", "regulated"};
}  // namespace

Result<EngineFile> read_engine(const std::string& path) {
    const auto json = read_json_object(path);
    if (!json) return json.error();
    return engine_from_json(json.value(), file_name(path));
}

Result<EngineFile> engine_from_json(const Json& json, const std::string& file) {
    JsonFields fields{json, file};
    fields.expect({"name", "cylinders", "strokes", "firing_order", "firing_angles_deg", "idle_rpm", "injection",
                   "groups", "banks", "idle_control"});

    Engine e;
    e.name = fields.text("name").value_or("");
    if (!json.contains("cylinders")) fields.missing("cylinders", "how many, 1..12");
    e.cylinders = fields.whole("cylinders", 1, 12).value_or(e.cylinders);
    e.strokes = fields.whole("strokes", 2, 4).value_or(e.strokes);
    e.firing_order = fields.wholes("firing_order", 1, e.cylinders).value_or(e.firing_order);
    e.firing_angles_deg = fields.numbers("firing_angles_deg", 0.0, cycle_deg(e)).value_or(e.firing_angles_deg);
    if (!json.contains("idle_rpm")) fields.missing("idle_rpm", "the handbook's idle range, as in [700, 950]");
    if (const auto range = fields.numbers("idle_rpm", 150.0, 12000.0)) {
        if (range->size() == 2) {
            e.idle_low_rpm = (*range)[0];
            e.idle_high_rpm = (*range)[1];
        } else {
            fields.complain(fields.at("idle_rpm") + ": needs two speeds, low and high, as in [700, 950]");
        }
    }
    if (const auto i = fields.word("injection", kInjectionWords)) e.injection = static_cast<Injection>(*i);
    if (const auto i = fields.word("idle_control", kIdleControlWords)) e.idle_control = static_cast<IdleControl>(*i);
    e.injection_groups = fields.whole_lists("groups", 1, e.cylinders).value_or(e.injection_groups);
    e.banks = fields.whole_lists("banks", 1, e.cylinders).value_or(e.banks);
    if (fields.error()) return *fields.error();

    try {
        check(e);
    } catch (const std::invalid_argument& wrong) {
        return Error{file + ": " + wrong.what(), ""};
    }
    return EngineFile{std::move(e), fields.warnings()};
}

Json engine_json(const Engine& e) {
    Json json{{"name", e.name}, {"cylinders", e.cylinders}, {"strokes", e.strokes}};
    if (!e.firing_order.empty()) json["firing_order"] = e.firing_order;
    if (!e.firing_angles_deg.empty()) json["firing_angles_deg"] = e.firing_angles_deg;
    json["idle_rpm"] = {e.idle_low_rpm, e.idle_high_rpm};
    json["injection"] = kInjectionWords[static_cast<std::size_t>(e.injection)];
    if (!e.injection_groups.empty()) json["groups"] = e.injection_groups;
    if (!e.banks.empty()) json["banks"] = e.banks;
    json["idle_control"] = kIdleControlWords[static_cast<std::size_t>(e.idle_control)];
    return json;
}

Result<Done> write_engine(const std::string& path, const Engine& engine) {
    return write_text(path, engine_json(engine).dump(2) + "\n");
}

}  // namespace idlehark
