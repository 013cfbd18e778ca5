#include "src/analysis/spray_session.hpp"

#include "src/analysis/between_gaps.hpp"
#include "src/analysis/marks_once.hpp"
#include "src/analysis/match_hiss.hpp"
#include "src/visit/visit_marks.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

constexpr double kLockedShareWorthSaying = 0.9;

/// The spots that take part and where each burst went.
struct Plan {
    std::vector<SpraySpot> spots;
    std::vector<std::string> names;
    std::vector<SprayBurst> bursts;
};

std::size_t spot_index(Plan& plan, const std::string& id) {
    const auto it = std::find_if(plan.spots.begin(), plan.spots.end(), [&](const SpraySpot& s) { return s.id == id; });
    if (it != plan.spots.end()) return static_cast<std::size_t>(it - plan.spots.begin());
    plan.spots.push_back({.id = id, .place = {}});
    // A pass over several spots, and aiming without spray, are judged as targets of their own, at no place.
    plan.names.emplace_back(id == kShamMark                     ? "aimed, not sprayed"
                            : id.find('+') != std::string::npos ? "misted in one pass"
                                                                : "");
    return plan.spots.size() - 1;
}

Plan spots_of(const std::optional<BayMap>& map) {
    Plan plan;
    if (!map) return plan;
    for (const auto& s : map->spots) {
        plan.spots.push_back({.id = s.spot, .place = Place{s.x_mm, s.y_mm}});
        plan.names.push_back(s.name);
    }
    return plan;
}

std::optional<Error> check_spots(const SprayRequest& request) {
    if (!request.map) return {};
    for (const auto& m : request.marks)
        for (const auto& spot : marked_spots(m.spot))
            if (!request.map->find(spot))
                return Error{
                    fmt::format("{}: line {}: spot \"{}\" is not on the map", request.marks_file, m.line, spot),
                    "Correct the mark, or add the spot to the map file."};
    for (const auto& id : request.order)
        if (!request.map->find(id)) return Error{fmt::format("--order: spot \"{}\" is not on the map", id), ""};
    return {};
}

std::vector<std::string> cautions_of(const SprayRequest& request, const Listened& heard, const Plan& plan,
                                     const SprayTestResult& result) {
    std::vector<std::string> cautions = heard.warnings;
    const double locked = static_cast<double>(heard.locked_readings) / static_cast<double>(heard.readings);
    if (locked < kLockedShareWorthSaying)
        cautions.push_back(
            fmt::format("the idle speed could be followed for {:.0f} % of the recording only", 100 * locked));
    std::vector<std::string> once;
    for (std::size_t i = 0; i < plan.spots.size(); ++i)
        if (result.spots[i].bursts == 1) once.push_back(plan.spots[i].id);
    if (!once.empty())
        cautions.push_back(fmt::format("one burst only at spot {}: one burst can miss, two more make it count",
                                       fmt::join(once, ", ")));
    if (request.listen.engine.idle_control == IdleControl::regulated)
        cautions.emplace_back(
            "the idle is regulated: its valve takes a change back within seconds, so a leak may hide");
    if (!request.map)
        cautions.emplace_back("without a map, spray that drifts to a neighbour cannot be told from a leak of its own");
    return cautions;
}

VerdictView view_of(const SprayRequest& request, const Listened& heard, const Plan& plan,
                    const SprayTestResult& result) {
    VerdictView view{.recording = request.listen.path.substr(request.listen.path.find_last_of('/') + 1),
                     .engine = request.listen.engine.name,
                     .length_s = heard.length_s,
                     .idle_rpm = result.idle_rpm,
                     .hunting_rpm = result.hunting_rpm,
                     .smallest_provable_rpm = result.smallest_provable_rpm,
                     .matters_rpm = request.matters_rpm,
                     .spots = {},
                     .cautions = cautions_of(request, heard, plan, result),
                     .notes = result.notes,
                     .speed = {},
                     .bursts = {}};
    for (std::size_t i = 0; i < plan.spots.size(); ++i) {
        const auto& r = result.spots[i];
        view.spots.push_back({.spot = plan.spots[i].id,
                              .name = plan.names[i],
                              .bursts = r.bursts,
                              .change_rpm = r.change_rpm,
                              .low_rpm = r.low_rpm,
                              .high_rpm = r.high_rpm,
                              .p_value = r.p_value,
                              .delay_s = r.delay_s,
                              .verdict = r.verdict});
    }
    for (const auto& b : plan.bursts)
        view.bursts.push_back({.time_s = b.found_onset_s.value_or(b.time_s), .spot = plan.spots[b.spot].id});
    return view;
}

}  // namespace

std::optional<std::vector<std::string>> spread_order(const std::vector<std::string>& order, std::size_t count) {
    if (order.empty() || count == 0 || count % order.size() != 0) return {};
    std::vector<std::string> spots;
    for (std::size_t i = 0; i < count; ++i) spots.push_back(order[i % order.size()]);
    return spots;
}

std::variant<SprayAnswer, SprayFailure> judge_spray(const SprayRequest& request, const ListenSinks& sinks) {
    if (const auto wrong = check_spots(request)) return SprayFailure{*wrong};

    std::vector<RpmReading> readings;
    std::optional<GapHissFinder> finder;
    const auto heard = listen_through(
        request.listen,
        {.readings = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); },
         .start = [&](double rate_hz) { finder.emplace(rate_hz); },
         .sound = [&](AudioView x) { finder->process(x); },
         .progress = sinks.progress,
         .gap = [&] { finder->gap(); }});
    if (!heard) return SprayFailure{heard.error()};
    finder->finish();
    const auto& hisses = finder->bursts();
    const double length_s = heard.value().length_s;

    Plan plan = spots_of(request.map);
    std::vector<std::string> said;  // of the marks
    if (request.order.empty()) {
        const auto marks = marks_once(request.marks, request.marks_file, said);
        std::vector<const Mark*> inside;
        for (const auto& m : marks) {
            if (m.time_s < length_s) {
                inside.push_back(&m);
                continue;
            }
            const auto text = fmt::format("{}: line {}: time_s: {:g} is after the end of the recording ({:.1f} s)",
                                          request.marks_file, m.line, m.time_s, length_s);
            if (!heard.value().parts.front().breaks_off)
                return SprayFailure{{text, "Do these marks belong to this recording? Times count from its start."}};
            said.push_back(text + "; left out");
        }
        std::vector<double> times_s;
        times_s.reserve(inside.size());
        for (const auto* m : inside) times_s.push_back(m->time_s);
        const auto onsets = match_hiss(times_s, hisses);
        for (std::size_t i = 0; i < inside.size(); ++i) {
            SprayBurst burst{.time_s = times_s[i],
                             .spot = spot_index(plan, inside[i]->spot),
                             .found_onset_s = {},
                             .found_duration_s = {}};
            if (onsets[i]) {
                burst.found_onset_s = onsets[i]->time_s;
                burst.found_duration_s = onsets[i]->duration_s;
            }
            plan.bursts.push_back(burst);
        }
    } else {
        const auto spots = spread_order(request.order, hisses.size());
        if (!spots)
            return SprayFailure{
                {fmt::format("{} bursts of hiss are heard, but the order names {}", hisses.size(),
                             request.order.size()),
                 "`idlehark bursts FILE` lists them; correct the order, or write their times to a marks file."},
                true};
        if (hisses.size() > request.order.size())
            said.push_back(fmt::format("{} bursts of hiss are heard; the order of {} spots is taken {} times",
                                       hisses.size(), request.order.size(), hisses.size() / request.order.size()));
        for (std::size_t i = 0; i < hisses.size(); ++i)
            plan.bursts.push_back({.time_s = hisses[i].time_s,
                                   .spot = spot_index(plan, (*spots)[i]),
                                   .found_onset_s = hisses[i].time_s,
                                   .found_duration_s = hisses[i].duration_s});
    }
    if (const auto reason = why_no_lock(heard.value(), request.listen)) return SprayFailure{*reason, true};

    try {
        const auto result =
            evaluate_spray(readings, plan.bursts, plan.spots,
                           {.matters_rpm = request.matters_rpm, .idle_control = request.listen.engine.idle_control});
        if (std::all_of(result.spots.begin(), result.spots.end(), [](const SpotResult& s) { return s.bursts == 0; }))
            return SprayFailure{{request.listen.path + ": the idle speed could not be followed at any burst",
                                 "`idlehark idle` shows where it can be followed."},
                                true};
        SprayAnswer answer{view_of(request, heard.value(), plan, result), heard.value().warnings};
        auto& cautions = answer.view.cautions;
        cautions.insert(cautions.end(), said.begin(), said.end());
        for (const auto& r : readings) answer.view.speed.push_back({r.time_s, r.rpm});
        return answer;
    } catch (const std::invalid_argument& wrong) {
        return SprayFailure{{wrong.what(), ""}};
    }
}

}  // namespace idlehark
