#include "src/report/injector_view.hpp"

#include "src/files/json_text.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr int kDecimals = 3;  // far below what a recording can carry

std::string figure(double x, int decimals) { return std::isfinite(x) ? fmt::format("{:.{}f}", x, decimals) : ""; }

}  // namespace

std::string reasons(const InjectorReading& r) {
    std::string text;
    const auto add = [&text](bool holds, std::string_view words) {
        if (!holds) return;
        if (!text.empty()) text += ", ";
        text += words;
    };
    const auto& why = r.reasons;
    if (r.verdict == InjectorVerdict::silent)
        return why.neighbours_only ? "only the others are heard" : "no regular click is heard";
    add(r.verdict == InjectorVerdict::missing_clicks, fmt::format("{} of {} not heard", r.missed, r.due));
    add(why.weaker, fmt::format("{:.1f} dB weaker than the set", -r.level_db));
    add(why.louder, fmt::format("{:.1f} dB louder than the set", r.level_db));
    add(why.spacing, "opens for another time than the set");
    add(why.jitter, "comes less evenly than the set");
    add(why.twice_the_rate, "clicks twice as often as the set");
    return text;
}

std::string headline(const InjectorView& view) {
    std::string odd;
    for (const auto& row : view.injectors) {
        if (row.reading.verdict == InjectorVerdict::regular) continue;
        if (!odd.empty()) odd += ", ";
        odd += fmt::format("{} {}", row.reading.cylinder, word(row.reading.verdict));
    }
    if (!odd.empty()) return "Injectors: " + odd;
    return view.injectors.size() == 1 ? "The injector clicks regularly"
                                      : fmt::format("All {} injectors click regularly", view.injectors.size());
}

std::string injector_table(const InjectorView& view) {
    std::string text = headline(view) + "\n\n";
    if (std::isfinite(view.rpm)) text += fmt::format("idle speed                    {:.0f} rpm\n", view.rpm);
    text += fmt::format("injection, as stated          {}\n\n", view.scheme);
    text +=
        "cylinder  clicks/s  expected  missed %  95 % interval  jitter us  crank deg  open-close ms  level dB  "
        "verdict\n";
    for (const auto& row : view.injectors) {
        const auto& r = row.reading;
        const auto interval = std::isfinite(r.missed_low_percent)
                                  ? fmt::format("{:.1f} to {:.1f}", r.missed_low_percent, r.missed_high_percent)
                                  : std::string{};
        const auto why = reasons(r);
        text += fmt::format("{:>8}  {:>8}  {:>8}  {:>8}  {:<13}  {:>9}  {:>9}  {:>13}  {:>8}  {}{}\n", r.cylinder,
                            figure(r.rate_hz, 2), figure(r.expected_hz, 2), figure(r.missed_percent, 1), interval,
                            figure(r.jitter_us, 0), figure(r.jitter_deg, 2), figure(r.open_close_ms, 2),
                            std::isfinite(r.level_db) ? fmt::format("{:+.1f}", r.level_db) : "", word(r.verdict),
                            why.empty() ? "" : ": " + why);
    }
    if (!view.cautions.empty() || !view.notes.empty()) text += "\n";
    for (const auto& c : view.cautions) text += "caution: " + c + "\n";
    for (const auto& n : view.notes) text += "note: " + n + "\n";
    return text;
}

std::string injector_json(const InjectorView& view) {
    Json json{{"rpm", json_number(view.rpm, kDecimals)},
              {"injectors", Json::array()},
              {"cautions", view.cautions},
              {"notes", view.notes}};
    for (const auto& row : view.injectors) {
        const auto& r = row.reading;
        json["injectors"].push_back({{"cylinder", r.cylinder},
                                     {"rpm", json_number(r.rpm, kDecimals)},
                                     {"rate_hz", json_number(r.rate_hz, kDecimals)},
                                     {"expected_hz", json_number(r.expected_hz, kDecimals)},
                                     {"clicks_due", r.due},
                                     {"clicks_missed", r.missed},
                                     {"missed_percent", json_number(r.missed_percent, kDecimals)},
                                     {"missed_low_percent", json_number(r.missed_low_percent, kDecimals)},
                                     {"missed_high_percent", json_number(r.missed_high_percent, kDecimals)},
                                     {"jitter_us", json_number(r.jitter_us, kDecimals)},
                                     {"jitter_deg", json_number(r.jitter_deg, kDecimals)},
                                     {"open_close_ms", json_number(r.open_close_ms, kDecimals)},
                                     {"level_db", json_number(r.level_db, kDecimals)},
                                     {"verdict", word(r.verdict)},
                                     {"reasons", reasons(r)}});
    }
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
