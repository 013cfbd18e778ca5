#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"
#include "src/report/case_report.hpp"
#include "src/report/verdict_text.hpp"

#include <fmt/format.h>

namespace idlehark {

namespace {

std::string_view word(ReportCheck::State s) {
    return s == ReportCheck::State::ok ? "ok" : s == ReportCheck::State::faulty ? "faulty" : "not done";
}

Json visit_json(const ReportVisit& v) {
    Json j{{"date", v.date},
           {"title", v.title},
           {"warmth", v.warmth},
           {"device", v.device},
           {"gain", v.gain},
           {"note", v.note},
           {"recordings", v.recordings},
           {"cautions_answered", Json::array()},
           {"idle_rpm", json_number(v.idle_rpm, 4)},
           {"spray", Json::array()},
           {"injectors", Json::array()},
           {"firings", Json::array()},
           {"hiss", Json::array()}};
    for (const auto& a : v.answers)
        j["cautions_answered"].push_back({{"question", a.question}, {"answer", a.answer}, {"answered_at", a.at}});
    for (const auto& s : v.sprays) {
        j["spray"].push_back(Json::parse(verdict_json(s), nullptr, false));
        j["spray"].back()["guided"] = s.guided;
    }
    for (const auto& i : v.injectors)
        j["injectors"].push_back({{"cylinder", i.cylinder},
                                  {"rate_hz", json_number(i.rate_hz, 4)},
                                  {"expected_hz", json_number(i.expected_hz, 4)},
                                  {"missed_percent", json_number(i.missed_percent, 4)},
                                  {"missed_low_percent", json_number(i.missed_low, 4)},
                                  {"missed_high_percent", json_number(i.missed_high, 4)},
                                  {"jitter_us", json_number(i.jitter_us, 4)},
                                  {"open_close_ms", json_number(i.open_close_ms, 4)},
                                  {"level_db", json_number(i.level_db, 4)},
                                  {"verdict", i.verdict},
                                  {"reasons", i.reasons}});
    for (const auto& f : v.firings)
        j["firings"].push_back({{v.firings_named ? "cylinder" : "firing", f.name},
                                {"strength", json_number(f.strength, 4)},
                                {"strength_low", json_number(f.strength_low, 4)},
                                {"strength_high", json_number(f.strength_high, 4)},
                                {"misfire_percent", json_number(f.misfire_percent, 4)},
                                {"verdict", f.verdict}});
    for (const auto& h : v.hiss)
        j["hiss"].push_back({{"spot", h.spot},
                             {"level_db", json_number(h.level_db, 4)},
                             {"level_low_db", json_number(h.level_low_db, 4)},
                             {"level_high_db", json_number(h.level_high_db, 4)},
                             {"follow_db", json_number(h.follow_db, 4)},
                             {"verdict", h.verdict}});
    j["half_order_share"] = json_number(v.half_order_share, 4);
    j["remarks"] = v.remarks;
    j["failed"] = v.failed;
    return j;
}

/// A field that a spreadsheet would take for a formula is made plain text.
std::string text_field(const std::string& text) {
    const bool formula = !text.empty() && std::string_view{"=+-@\t\r"}.find(text[0]) != std::string_view::npos;
    return csv_field(formula ? "'" + text : text);
}

class Facts {
   public:
    void row(const std::string& visit, const char* test, const std::string& subject, const char* quantity, double value,
             double low, double high, std::string_view unit, std::string_view verdict) {
        const auto n = [](double x) { return std::isfinite(x) ? fmt::format("{:.6g}", x) : std::string{}; };
        text_ +=
            fmt::format("{},{},{},{},{},{},{},{},{}\n", text_field(visit), test, text_field(subject), quantity,
                        n(value), n(low), n(high), text_field(std::string{unit}), text_field(std::string{verdict}));
    }
    [[nodiscard]] std::string take() { return std::move(text_); }

   private:
    std::string text_ = "visit,test,subject,quantity,value,low,high,unit,verdict\n";
};

}  // namespace

std::string report_json(const CaseReport& r) {
    Json j{{"car", r.car},
           {"made_at", r.made_at},
           {"program", r.program},
           {"engine",
            {{"name", r.engine.name},
             {"cylinders", r.engine.cylinders},
             {"strokes", r.engine.strokes},
             {"idle_rpm", {r.engine.idle_low_rpm, r.engine.idle_high_rpm}}}},
           {"log", Json::array()},
           {"visits", Json::array()}};
    for (const auto& c : r.log)
        j["log"].push_back({{"check", c.name},
                            {"limits", c.limits},
                            {"reading", c.reading},
                            {"state", word(c.state)},
                            {"note", c.note}});
    for (const auto& v : r.visits) j["visits"].push_back(visit_json(v));
    j["compare"] = r.compare ? Json::parse(compare_json(*r.compare), nullptr, false) : Json(nullptr);
    j["undecided"] = undecided(r);
    j["next"] = Json::array();
    for (const auto& s : next_steps(r)) j["next"].push_back({{"what", s.what}, {"why", s.why}});
    j["notes"] = r.notes;
    return j.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string report_csv(const CaseReport& r) {
    constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
    Facts facts;
    for (const auto& c : r.log) facts.row("", "log", c.name, "state", kNone, kNone, kNone, "", word(c.state));
    for (const auto& v : r.visits) {
        if (std::isfinite(v.idle_rpm)) facts.row(v.date, "idle", "", "speed", v.idle_rpm, kNone, kNone, "rpm", "");
        for (const auto& s : v.sprays)
            for (const auto& row : s.spots)
                facts.row(v.date, "spray", row.spot, "change", row.change_rpm, row.low_rpm, row.high_rpm, "rpm",
                          idlehark::word(row.verdict));
        for (const auto& i : v.injectors)
            facts.row(v.date, "injectors", std::to_string(i.cylinder), "missed", i.missed_percent, i.missed_low,
                      i.missed_high, "%", i.verdict);
        for (const auto& f : v.firings)
            facts.row(v.date, "balance", f.name, "strength", f.strength, f.strength_low, f.strength_high, "",
                      f.verdict);
        for (const auto& h : v.hiss)
            facts.row(v.date, "hiss", h.spot, "level", h.level_db, h.level_low_db, h.level_high_db, "dB", h.verdict);
    }
    if (r.compare)
        for (const auto& row : r.compare->rows)
            facts.row("", "compare", row.figure, "difference", row.change.difference, row.change.low, row.change.high,
                      row.unit, idlehark::word(row.change.verdict));
    return facts.take();
}

}  // namespace idlehark
