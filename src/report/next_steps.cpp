#include "src/analysis/balance_check.hpp"
#include "src/report/case_report.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

/// The checks that come before any hunt for leaks, as the trade has them (common practice, no source).
struct UsualCheck {
    std::string_view name, words;  ///< a log line whose name holds one of the words stands for it
};
constexpr std::array<UsualCheck, 6> kUsualChecks{{{"look of the spark plugs", "plug"},
                                                  {"fuel pressure", "fuel"},
                                                  {"air meter", "air"},
                                                  {"throttle position sensor", "throttle"},
                                                  {"ignition timing", "ignition"},
                                                  {"cam timing", "cam"}}};

std::string lower(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return text;
}

std::string spot_name(const CaseReport& r, const std::string& spot) {
    const auto* on_map = r.map ? r.map->find(spot) : nullptr;
    return on_map && !on_map->name.empty() ? fmt::format("spot {} ({})", spot, on_map->name) : "spot " + spot;
}

/// The last spray test's word on each spot, in the order of first mention.
struct LastWord {
    std::string spot;
    SpotRow row;
    std::string date;
};
std::vector<LastWord> last_words(const CaseReport& r) {
    std::vector<LastWord> list;
    for (const auto& v : r.visits)
        for (const auto& view : v.sprays)
            for (const auto& row : view.spots) {
                if (row.bursts == 0) continue;
                const auto at =
                    std::find_if(list.begin(), list.end(), [&](const auto& l) { return l.spot == row.spot; });
                if (at == list.end())
                    list.push_back({row.spot, row, v.date});
                else
                    *at = {row.spot, row, v.date};
            }
    return list;
}

/// The last visit that has anything of a kind; nothing if none has.
template <class Has>
const ReportVisit* last_with(const CaseReport& r, Has has) {
    const auto last = std::find_if(r.visits.rbegin(), r.visits.rend(), has);
    return last == r.visits.rend() ? nullptr : &*last;
}

double may_hide_rpm(const SpotRow& s) { return std::max(std::fabs(s.low_rpm), std::fabs(s.high_rpm)); }

}  // namespace

std::vector<NextStep> next_steps(const CaseReport& r) {
    std::vector<NextStep> steps;
    for (const auto& c : r.log)
        if (c.state == ReportCheck::State::faulty)
            steps.push_back({fmt::format("Put right: {}", c.name),
                             fmt::format("the log has it as faulty{}{}; an idle cannot be judged past a known fault",
                                         c.reading.empty() ? "" : ", reading " + c.reading,
                                         c.limits.empty() ? "" : ", limits " + c.limits)});
    auto words = last_words(r);
    std::stable_sort(words.begin(), words.end(), [](const LastWord& a, const LastWord& b) {
        return std::fabs(a.row.change_rpm) > std::fabs(b.row.change_rpm);
    });
    for (const auto& w : words)
        if (w.row.verdict == SprayVerdict::leak)
            steps.push_back({fmt::format("Mend the joint at {}, then test it again", spot_name(r, w.spot)),
                             fmt::format("proven leak on {}: {} rpm", w.date, signed_rpm(w.row.change_rpm))});
    if (const auto* v = last_with(r, [](const ReportVisit& x) { return !x.injectors.empty(); }))
        for (const auto& i : v->injectors)
            if (i.verdict != "regular")
                steps.push_back(
                    {fmt::format("Check injector {}: its plug and wiring first, then the injector", i.cylinder),
                     fmt::format("{}{}{}", i.verdict, i.reasons.empty() ? "" : ": ", i.reasons)});
    if (const auto* v = last_with(r, [](const ReportVisit& x) { return !x.firings.empty(); }))
        for (const auto& f : v->firings)
            if (f.verdict == "weak" || f.verdict == "misfires")
                steps.push_back(
                    {fmt::format("{} {}: spark plug, lead and coil first, then its injector, then compression",
                                 v->firings_named ? "Cylinder" : "Firing", label(f.name, f.at_tail_pipe)),
                     fmt::format("{} in the balance of {}{}", f.verdict, v->date,
                                 v->firings_named ? "" : "; which cylinder it is a pick-up on one lead would tell")});
    if (const auto* v = last_with(r, [](const ReportVisit& x) { return !x.hiss.empty(); }))
        for (const auto& h : v->hiss) {
            const auto settled = std::any_of(words.begin(), words.end(), [&](const LastWord& w) {
                return w.spot == h.spot &&
                       (w.row.verdict == SprayVerdict::leak || w.row.verdict == SprayVerdict::none_seen);
            });
            if (h.verdict == "stands out" && !settled)
                steps.push_back({fmt::format("Test {} again", spot_name(r, h.spot)),
                                 "its hiss stands out in the survey, and no spray test has decided on it"});
        }
    std::stable_sort(words.begin(), words.end(),
                     [](const LastWord& a, const LastWord& b) { return may_hide_rpm(a.row) > may_hide_rpm(b.row); });
    for (const auto& w : words)
        if (w.row.verdict == SprayVerdict::undecided)
            steps.push_back({fmt::format("A few more bursts at {}", spot_name(r, w.spot)),
                             fmt::format("undecided on {}: anything from {} to {} rpm is possible", w.date,
                                         signed_rpm(w.row.low_rpm), signed_rpm(w.row.high_rpm))});
    for (const auto& w : words)
        if (w.row.verdict == SprayVerdict::overspray)
            steps.push_back({fmt::format("Test {} again once its neighbour is mended", spot_name(r, w.spot)),
                             "spray that drifts onto a leaking neighbour explains its answer so far"});
    for (const auto& usual : kUsualChecks) {
        const auto done = std::any_of(r.log.begin(), r.log.end(), [&](const ReportCheck& c) {
            return c.state != ReportCheck::State::not_done && lower(c.name).find(usual.words) != std::string::npos;
        });
        if (!done)
            steps.push_back({fmt::format("Check the {} against the car's own manual", usual.name),
                             "the log says nothing of it, or that it was not done (common practice, no source)"});
    }
    if (steps.empty())
        steps.push_back({"Nothing is left open here",
                         "every check of the log is well and no test found a fault; if the idle is still poor, a "
                         "licensed technician has means that this report has not (smoke, exhaust gas, pressures)"});
    return steps;
}

std::vector<std::string> undecided(const CaseReport& r) {
    std::vector<std::string> lines;
    const auto words = last_words(r);
    for (const auto& w : words) {
        if (w.row.verdict == SprayVerdict::undecided)
            lines.push_back(fmt::format("{}: a change of {} to {} rpm is possible", spot_name(r, w.spot),
                                        signed_rpm(w.row.low_rpm), signed_rpm(w.row.high_rpm)));
        if (w.row.verdict == SprayVerdict::overspray)
            lines.push_back(fmt::format("{}: answers, but a leaking neighbour explains it", spot_name(r, w.spot)));
    }
    if (r.map)
        for (const auto& s : r.map->spots)
            if (std::none_of(words.begin(), words.end(), [&](const LastWord& w) { return w.spot == s.spot; }))
                lines.push_back(fmt::format("{}: on the map, never sprayed", spot_name(r, s.spot)));
    for (const auto& v : r.visits) {
        for (const auto& f : v.firings)
            if (f.verdict == "undecided" || f.verdict == "sounds different")
                lines.push_back(
                    fmt::format("{} {} on {}: {}", v.firings_named ? "cylinder" : "firing", f.name, v.date, f.verdict));
        for (const auto& h : v.hiss)
            if (h.verdict == "undecided" || h.verdict == "loud, open")
                lines.push_back(fmt::format("hiss at {} on {}: {}", spot_name(r, h.spot), v.date, h.verdict));
        for (const auto& f : v.failed) lines.push_back(fmt::format("{} on {}", f, v.date));
    }
    return lines;
}

}  // namespace idlehark
