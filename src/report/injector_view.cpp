#include "src/report/injector_view.hpp"

#include "src/files/json_text.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

std::string figure(double x, int decimals) { return std::isfinite(x) ? fmt::format("{:.{}f}", x, decimals) : ""; }

/// Three decimals are far below what a recording can carry.
Json number(double x) {
    if (!std::isfinite(x)) return nullptr;
    return std::round(x * 1000.0) / 1000.0;
}

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
    Json json{
        {"rpm", number(view.rpm)}, {"injectors", Json::array()}, {"cautions", view.cautions}, {"notes", view.notes}};
    for (const auto& row : view.injectors) {
        const auto& r = row.reading;
        json["injectors"].push_back({{"cylinder", r.cylinder},
                                     {"rpm", number(r.rpm)},
                                     {"rate_hz", number(r.rate_hz)},
                                     {"expected_hz", number(r.expected_hz)},
                                     {"clicks_due", r.due},
                                     {"clicks_missed", r.missed},
                                     {"missed_percent", number(r.missed_percent)},
                                     {"missed_low_percent", number(r.missed_low_percent)},
                                     {"missed_high_percent", number(r.missed_high_percent)},
                                     {"jitter_us", number(r.jitter_us)},
                                     {"jitter_deg", number(r.jitter_deg)},
                                     {"open_close_ms", number(r.open_close_ms)},
                                     {"level_db", number(r.level_db)},
                                     {"verdict", word(r.verdict)},
                                     {"reasons", reasons(r)}});
    }
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
