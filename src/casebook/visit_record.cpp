#include "src/casebook/visit_record.hpp"

#include "src/files/json_text.hpp"
#include "src/files/plain_text.hpp"

#include <cmath>
#include <cstddef>
#include <limits>
#include <stdexcept>

namespace idlehark {

namespace {

Json number_or_none(const std::optional<double>& x) { return x ? json_number(*x) : Json(nullptr); }

double finite(const Json& json) {
    const double x = json.get<double>();
    if (!std::isfinite(x)) throw std::invalid_argument("a number is none");
    return x;
}
double number_or_nan(const Json& json) {
    return json.is_null() ? std::numeric_limits<double>::quiet_NaN() : finite(json);
}
std::optional<double> maybe(const Json& json) {
    if (json.is_null()) return {};
    return finite(json);
}

std::vector<std::string> texts(const Json& json) {
    std::vector<std::string> list;
    for (const auto& item : json) list.push_back(printable(item.get<std::string>()));
    return list;
}

/// Older records name the spot alone; when it was skipped is not known: it counts from the start.
VisitSkip skip_in(const Json& json) {
    if (json.is_string()) return {{printable(json.get<std::string>())}, 0};
    const auto& after = json.at("after_bursts");
    if (!after.is_number_unsigned()) throw std::invalid_argument("a number of bursts is none");
    return {texts(json.at("spots")), after.get<std::size_t>()};
}

}  // namespace

Json visit_record_json(const VisitRecord& r) {
    Json json{{"cautions", Json::array()},
              {"recordings", Json::array()},
              {"bursts", Json::array()},
              {"skipped", Json::array()},
              {"decided", r.decided},
              {"clock_s", json_number(r.clock_s)},
              {"smallest_provable_rpm", json_number(r.smallest_provable_rpm)},
              {"ended", r.ended}};
    for (const auto& a : r.cautions)
        json["cautions"].push_back({{"key", a.key}, {"yes", a.yes}, {"time_s", json_number(a.time_s)}});
    for (const auto& x : r.recordings)
        json["recordings"].push_back({{"name", x.name}, {"offset_s", json_number(x.offset_s)}});
    for (const auto& b : r.bursts)
        json["bursts"].push_back({{"spots", b.spots},
                                  {"sham", b.sham},
                                  {"time_s", json_number(b.time_s)},
                                  {"by_key", b.by_key},
                                  {"found_onset_s", number_or_none(b.found_onset_s)},
                                  {"found_duration_s", number_or_none(b.found_duration_s)},
                                  {"asked", b.asked},
                                  {"near_gap", b.near_gap},
                                  {"undone", b.undone}});
    for (const auto& s : r.skipped) json["skipped"].push_back({{"spots", s.spots}, {"after_bursts", s.after_bursts}});
    return json;
}

Result<VisitRecord> visit_record_from_json(const Json& json, const std::string& name) {
    try {
        VisitRecord r;
        for (const auto& a : json.at("cautions"))
            r.cautions.push_back(
                {printable(a.at("key").get<std::string>()), a.at("yes").get<bool>(), finite(a.at("time_s"))});
        for (const auto& x : json.at("recordings"))
            r.recordings.push_back({printable(x.at("name").get<std::string>()), finite(x.at("offset_s"))});
        for (const auto& b : json.at("bursts"))
            r.bursts.push_back({.spots = texts(b.at("spots")),
                                .sham = b.at("sham").get<bool>(),
                                .time_s = finite(b.at("time_s")),
                                .by_key = b.at("by_key").get<bool>(),
                                .found_onset_s = maybe(b.at("found_onset_s")),
                                .found_duration_s = maybe(b.at("found_duration_s")),
                                .asked = b.at("asked").get<bool>(),
                                .near_gap = b.at("near_gap").get<bool>(),
                                .undone = b.at("undone").get<bool>()});
        for (const auto& s : json.at("skipped")) r.skipped.push_back(skip_in(s));
        r.decided = texts(json.at("decided"));
        r.clock_s = finite(json.at("clock_s"));
        r.smallest_provable_rpm = number_or_nan(json.at("smallest_provable_rpm"));
        r.ended = printable(json.at("ended").get<std::string>());
        return r;
    } catch (const std::exception&) {
        return Error{name + ": is not what this program stores there",
                     "Its bursts are also among the marks of its recordings; start a new visit."};
    }
}

}  // namespace idlehark
