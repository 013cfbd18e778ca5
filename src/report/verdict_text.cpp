#include "src/report/verdict_text.hpp"

#include "src/files/json_text.hpp"
#include "src/visit/caution_gate.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr int kDecimals = 3;  // far below what a recording can carry

std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(
        std::count_if(text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}
std::string left(std::string text, std::size_t width) {
    text.append(width - std::min(width, columns(text)), ' ');
    return text;
}
std::string right(const std::string& text, std::size_t width) {
    return std::string(width - std::min(width, columns(text)), ' ') + text;
}

std::string probability(double p) {
    if (!std::isfinite(p)) return "";
    return p < 0.001 ? "< 0.001" : fmt::format("{:.3f}", p);
}

}  // namespace

std::string verdict_table(const VerdictView& view) {
    std::string text = headline(view, true) + "\n\n";
    const auto fact = [&](std::string_view label, double rpm) {
        if (std::isfinite(rpm)) text += fmt::format("{:<42}{:.0f} rpm\n", label, rpm);
    };
    fact("idle speed", view.idle_rpm);
    fact("hunting, to each side", view.hunting_rpm);
    fact("smallest change this test can prove", view.smallest_provable_rpm);
    fact("\"none seen\" excludes changes of", view.matters_rpm);

    std::size_t id_width = 4;
    std::size_t name_width = 4;
    for (const auto& s : view.spots) {
        id_width = std::max(id_width, columns(s.spot));
        name_width = std::max(name_width, columns(s.name));
    }
    text += fmt::format("\n{}  {}  bursts  change rpm  95 % interval        p  delay s  verdict\n",
                        left("spot", id_width), left("name", name_width));
    for (const auto& s : ranked(view.spots)) {
        const bool figure = std::isfinite(s.change_rpm);
        text +=
            fmt::format("{}  {}  {:>6}  {}  {}  {}  {:>7}  {}\n", left(s.spot, id_width), left(s.name, name_width),
                        s.bursts, right(figure ? signed_rpm(s.change_rpm) : "", 10),
                        left(figure ? fmt::format("{} to {}", signed_rpm(s.low_rpm), signed_rpm(s.high_rpm)) : "", 13),
                        right(s.not_sprayed() ? "" : probability(s.p_value), 7),
                        std::isfinite(s.delay_s) ? fmt::format("{:.1f}", s.delay_s) : "", word(s));
    }
    if (!view.cautions.empty() || !view.notes.empty()) text += "\n";
    for (const auto& c : view.cautions) text += "caution: " + c + "\n";
    for (const auto& n : view.notes) text += "note: " + n + "\n";
    text += fmt::format("\nBefore any more spray: {}\n", caution_precedence());
    return text;
}

std::string verdict_json(const VerdictView& view) {
    Json json{{"idle_rpm", json_number(view.idle_rpm, kDecimals)},
              {"hunting_rpm", json_number(view.hunting_rpm, kDecimals)},
              {"smallest_provable_rpm", json_number(view.smallest_provable_rpm, kDecimals)},
              {"matters_rpm", json_number(view.matters_rpm, kDecimals)},
              {"spots", Json::array()},
              {"cautions", view.cautions},
              {"notes", view.notes}};
    for (const auto& s : view.spots) {
        Json spot{{"spot", s.spot}};
        if (!s.name.empty()) spot["name"] = s.name;
        spot["bursts"] = s.bursts;
        spot["change_rpm"] = json_number(s.change_rpm, kDecimals);
        spot["low_rpm"] = json_number(s.low_rpm, kDecimals);
        spot["high_rpm"] = json_number(s.high_rpm, kDecimals);
        spot["p_value"] = std::isfinite(s.p_value) ? Json(s.p_value) : Json(nullptr);
        spot["verdict"] = word(s.verdict);
        spot["delay_s"] = json_number(s.delay_s, kDecimals);
        json["spots"].push_back(std::move(spot));
    }
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
