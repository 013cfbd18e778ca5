#include "src/casebook/heard_record.hpp"

#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

/// Six digits: more than any figure means, and what another machine's rounding leaves alone.
Json number(double x) { return json_number(std::isfinite(x) ? parse_number(fmt::format("{:.6g}", x)).value_or(x) : x); }

template <class Numbers>
Json numbers(const Numbers& list) {
    Json json = Json::array();
    for (const double x : list) json.push_back(number(x));
    return json;
}

Json figure(const FigureValue& f) { return numbers(std::array{f.value, f.sd, f.visit_sd}); }

/// Takes values out and remembers the first that is not there.
class Reader {
   public:
    explicit Reader(std::string name) : name_(std::move(name)) {}

    const Json& at(const Json& o, const char* key) {
        static const Json kNothing;
        const auto found = o.is_object() ? o.find(key) : o.end();
        if (o.is_object() && found != o.end()) return *found;
        complain(key);
        return kNothing;
    }
    double number(const Json& j, const char* key) {
        if (j.is_number()) return j.get<double>();
        if (!j.is_null()) complain(key);
        return std::nan("");
    }
    double number_at(const Json& o, const char* key) { return number(at(o, key), key); }
    bool truth_at(const Json& o, const char* key) {
        const auto& j = at(o, key);
        if (!j.is_boolean()) complain(key);
        return j.is_boolean() && j.get<bool>();
    }
    std::vector<std::string> texts_at(const Json& o, const char* key) {
        std::vector<std::string> list;
        for (const auto& j : list_at(o, key)) {
            if (!j.is_string()) complain(key);
            list.push_back(j.is_string() ? j.get<std::string>() : std::string{});
        }
        return list;
    }
    const Json& list_at(const Json& o, const char* key) {
        static const Json kEmpty = Json::array();
        const auto& j = at(o, key);
        if (j.is_array()) return j;
        complain(key);
        return kEmpty;
    }
    std::vector<double> numbers(const Json& list, const char* key) {
        std::vector<double> values;
        if (!list.is_array()) complain(key);
        for (const auto& j : list) values.push_back(number(j, key));
        return values;
    }
    /// Exactly as many as there is room for.
    template <std::size_t N>
    void fill(std::array<double, N>& room, const Json& list, const char* key) {
        const auto values = numbers(list, key);
        if (values.size() == N)
            std::copy(values.begin(), values.end(), room.begin());
        else
            complain(key);
    }
    FigureValue figure_at(const Json& o, const char* key) {
        std::array<double, 3> v{};
        fill(v, at(o, key), key);
        return {v[0], v[1], v[2]};
    }
    [[nodiscard]] const std::optional<Error>& error() const { return error_; }

   private:
    void complain(const char* key) {
        if (!error_)
            error_ = Error{fmt::format("{}: \"{}\" is missing or not what it should be", name_, key),
                           "`idlehark case check` says what else does not agree with the sound."};
    }
    std::string name_;
    std::optional<Error> error_;
};

}  // namespace

Json heard_json(const HeardVisit& v) {
    Json json{{"sample_rate_hz", v.heard.sample_rate_hz},
              {"length_s", v.heard.length_s},
              {"cautions", v.heard.warnings},
              {"idle",
               {{"speed_rpm", figure(v.idle.speed_rpm)},
                {"hunting_rpm", figure(v.idle.hunting_rpm)},
                {"wander_rpm", figure(v.idle.wander_rpm)},
                {"drift_rpm_per_min", number(v.idle.drift_rpm_per_min)},
                {"drift_sd", number(v.idle.drift_sd)},
                {"heard_s", number(v.idle.heard_s)}}},
              {"half_orders", figure(v.half_orders)},
              {"hiss",
               {{"follows_known", v.hiss.follows_known},
                {"rpm", number(v.hiss.rpm)},
                {"seconds", number(v.hiss.seconds)},
                {"lines_db", numbers(v.hiss.lines_db)},
                {"bands", Json::array()}}},
              {"answering", v.answering},
              {"bursts", Json::array()}};
    for (const auto& band : v.hiss.bands) {
        Json row{{"whole", numbers(band.whole)}, {"without", Json::array()}};
        for (const auto& tenth : band.without) row["without"].push_back(numbers(tenth));
        json["hiss"]["bands"].push_back(std::move(row));
    }
    for (std::size_t i = 0; i < v.bursts.size(); ++i) {
        const auto& b = v.bursts[i];
        json["bursts"].push_back(
            {{"time_s", b.time_s},
             {"spot", v.burst_spots[i]},
             {"found_onset_s", b.found_onset_s ? Json(*b.found_onset_s) : Json(nullptr)},
             {"found_duration_s", b.found_duration_s ? Json(*b.found_duration_s) : Json(nullptr)}});
    }
    return json;
}

Result<HeardVisit> heard_from_json(const Json& json, VisitRequest request, std::vector<RpmReading> readings,
                                   const std::string& name) {
    Reader in{name};
    HeardVisit v;
    v.request = std::move(request);
    v.readings = std::move(readings);
    v.device = v.request.device;
    v.heard.sample_rate_hz = in.number_at(json, "sample_rate_hz");
    v.heard.length_s = in.number_at(json, "length_s");
    v.heard.warnings = in.texts_at(json, "cautions");
    const auto& idle = in.at(json, "idle");
    v.idle.speed_rpm = in.figure_at(idle, "speed_rpm");
    v.idle.hunting_rpm = in.figure_at(idle, "hunting_rpm");
    v.idle.wander_rpm = in.figure_at(idle, "wander_rpm");
    v.idle.drift_rpm_per_min = in.number_at(idle, "drift_rpm_per_min");
    v.idle.drift_sd = in.number_at(idle, "drift_sd");
    v.idle.heard_s = in.number_at(idle, "heard_s");
    v.half_orders = in.figure_at(json, "half_orders");
    const auto& hiss = in.at(json, "hiss");
    v.hiss.follows_known = in.truth_at(hiss, "follows_known");
    v.hiss.rpm = in.number_at(hiss, "rpm");
    v.hiss.seconds = in.number_at(hiss, "seconds");
    v.hiss.lines_db = in.numbers(in.at(hiss, "lines_db"), "lines_db");
    for (const auto& row : in.list_at(hiss, "bands")) {
        auto& band = v.hiss.bands.emplace_back();
        in.fill(band.whole, in.at(row, "whole"), "whole");
        const auto& without = in.list_at(row, "without");
        for (std::size_t t = 0; t < band.without.size(); ++t)
            in.fill(band.without[t], t < without.size() ? without[t] : Json{}, "without");
    }
    v.answering = in.texts_at(json, "answering");
    for (const auto& row : in.list_at(json, "bursts")) {
        SprayBurst burst{.time_s = in.number_at(row, "time_s"), .spot = 0, .found_onset_s = {}, .found_duration_s = {}};
        if (const double onset = in.number_at(row, "found_onset_s"); std::isfinite(onset)) burst.found_onset_s = onset;
        if (const double length = in.number_at(row, "found_duration_s"); std::isfinite(length))
            burst.found_duration_s = length;
        const auto& spot = in.at(row, "spot");
        v.bursts.push_back(burst);
        v.burst_spots.push_back(spot.is_string() ? spot.get<std::string>() : std::string{});
    }
    if (in.error()) return *in.error();
    return v;
}

}  // namespace idlehark
