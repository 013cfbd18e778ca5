#include "src/visit/guide_view.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

constexpr std::size_t kLongestSpot = 16;
constexpr int kLeastColumns = 20;

void wrap(std::vector<std::string>& lines, const std::string& text, int columns, const std::string& indent) {
    const auto width = static_cast<std::size_t>(std::max(columns, kLeastColumns));
    std::string line = indent;
    for (std::size_t from = 0; from < text.size();) {
        const auto blank = std::min(text.find(' ', from), text.size());
        const auto word = text.substr(from, blank - from);
        if (line.size() + word.size() + 1 > width && line.size() > indent.size()) {
            lines.push_back(line);
            line = indent;
        }
        if (line.size() > indent.size()) line += ' ';
        line += word;
        from = blank + 1;
    }
    if (line.size() > indent.size()) lines.push_back(line);
}

}  // namespace

void guide_key(GuideKeys& keys, char key, SprayVisit& visit, double now_s) {
    keys.sprayed.clear();
    const auto state = visit.state();
    if (key == 'q' || key == 'Q') {
        visit.stop();
        keys.wants_end = true;
        return;
    }
    if (state.stage == VisitStage::gate) {
        const auto point = visit.cautions().pending();
        if (point && (key == 'y' || key == 'Y')) visit.answer(*point, true);
        if (point && (key == 'n' || key == 'N')) visit.answer(*point, false);
        return;
    }
    if (key >= '0' && key <= '9') {
        if (keys.spot.size() < kLongestSpot) keys.spot += key;
    } else if (key == 127 || key == '\b') {
        if (!keys.spot.empty()) keys.spot.pop_back();
    } else if (key == ' ' || key == '\r' || key == '\n') {
        const auto before = visit.record().bursts.size();
        visit.key(now_s, keys.spot);
        keys.spot.clear();
        if (visit.record().bursts.size() > before && !visit.record().bursts.back().sham)
            keys.sprayed = visit.record().bursts.back().spots;
    } else if (key == 'w') {
        visit.wrong_spot(keys.spot);
        keys.spot.clear();
    } else if (key == 'r') {
        visit.repeat();
    } else if (key == 's') {
        visit.skip();
    } else if (key == 'u') {
        visit.undo();
    }
}

std::vector<std::string> spot_table(const plan::PlanStep& step, const BayMap& map) {
    std::size_t widest = 4;
    for (const auto& s : map.spots) widest = std::max(widest, s.name.size());
    widest = std::min<std::size_t>(widest, 32);
    std::vector<std::string> lines{fmt::format("{:>5}  {:<{}}  {:>6}  {:<10}  {:>6}  {}", "spot", "name", widest,
                                               "bursts", "standing", "leaks", "change, rpm (95 %)")};
    for (std::size_t i = 0; i < step.all.size() && i < map.spots.size(); ++i) {
        const auto& s = step.all[i];
        const auto bursts = s.passes > 0 ? fmt::format("{}+{}", s.bursts, s.passes) : std::to_string(s.bursts);
        const bool weighed = s.belief.leaks > 0.0;  // not before the end of the first round
        const auto chance = !weighed || s.bursts + s.passes == 0 ? std::string{"--"}
                            : s.belief.leaks < 0.01              ? std::string{"< 1 %"}
                                                                 : fmt::format("{:.0f} %", 100.0 * s.belief.leaks);
        const auto change = s.bursts < 2 ? std::string{}  // one may have missed: no interval to speak of
                            : std::isfinite(s.change_rpm)
                                ? fmt::format("{:+.0f} ({:+.0f} to {:+.0f})", s.change_rpm, s.low_rpm, s.high_rpm)
                            : s.decision == plan::SpotDecision::leak ? fmt::format("about {:+.0f}", s.belief.mean_rpm)
                                                                     : std::string{};
        auto line = fmt::format("{:>5}  {:<{}}  {:>6}  {:<10}  {:>6}  {}", map.spots[i].spot,
                                cut_to(map.spots[i].name, static_cast<int>(widest)), widest, bursts, word(s.decision),
                                chance, change);
        line.erase(line.find_last_not_of(' ') + 1);
        lines.push_back(std::move(line));
    }
    return lines;
}

std::vector<std::string> guide_lines(const GuidedVisit& guided, const GuideKeys& keys, const ListenView& sound,
                                     TerminalSize size, bool unicode) {
    const auto state = guided.visit().state();
    std::vector<std::string> lines;
    if (state.stage == VisitStage::gate) {
        wrap(lines, std::string{caution_precedence()}, size.columns, "");
        lines.emplace_back("Ways without flammable spray come first:");
        for (const auto& way : spray_alternatives()) wrap(lines, std::string{way}, size.columns, "  ");
        lines.emplace_back();
        const auto point = guided.visit().cautions().pending();
        if (point) {
            lines.push_back(fmt::format("Caution {} of {}", *point + 1, kCautionPoints));
            wrap(lines, std::string{caution_points()[*point].question}, size.columns, "  ");
            if (guided.visit().cautions().answered(*point) == false)
                wrap(lines, std::string{caution_points()[*point].if_no}, size.columns, "  ! ");
        }
        lines.emplace_back("y yes   n no   q stop");
        if (!sound.message.empty()) wrap(lines, sound.message, size.columns, "! ");
    } else {
        wrap(lines, state.next_step, size.columns, "> ");
        if (state.stage == VisitStage::settling && !sound.message.empty())
            wrap(lines, sound.message, size.columns, "! ");
        if (!state.notice.empty()) wrap(lines, state.notice, size.columns, "! ");
        if (!state.why.empty()) wrap(lines, "Why: " + state.why, size.columns, "  ");
        if (!state.would_change.empty()) wrap(lines, state.would_change, size.columns, "  ");
        lines.push_back(
            fmt::format("bursts {}{}{}", state.bursts,
                        state.at_most_more > 0 ? fmt::format(", at most {} more", state.at_most_more) : "",
                        std::isfinite(state.smallest_provable_rpm)
                            ? fmt::format("   smallest provable change {:.0f} rpm", state.smallest_provable_rpm)
                            : ""));
        if (state.stage == VisitStage::settling)
            lines.push_back(fmt::format("settling {:.0f} %", 100.0 * state.settled));
        const bool show_level = state.stage == VisitStage::settling;
        auto speed =
            lay_out(sound, {.columns = size.columns, .rows = show_level && !sound.peaks_dbfs.empty() ? 4 : 3}, unicode);
        lines.insert(lines.end(), speed.begin(), speed.end());
        if (state.stage == VisitStage::done)
            lines.emplace_back("q leave   w the last burst was elsewhere (digits first)   u the last burst was none");
        else
            lines.push_back(
                keys.spot.empty()
                    ? "space sprayed now   digits another spot   w wrong spot   r again   s skip   "
                      "u undo   q STOP"
                    : fmt::format("spot {}: space sprayed there now   w the last burst was there", keys.spot));
        if (guided.step()) {
            const auto table = spot_table(*guided.step(), guided.settings().map);
            lines.insert(lines.end(), table.begin(), table.end());
        }
    }
    if (lines.size() > static_cast<std::size_t>(std::max(size.rows, 1)))
        lines.resize(static_cast<std::size_t>(std::max(size.rows, 1)));
    return lines;
}

}  // namespace idlehark
