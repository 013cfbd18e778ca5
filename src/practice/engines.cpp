#include "src/practice/engines.hpp"

#include "dsp/sim/random.hpp"
#include "src/visit/visit_plan.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr std::array<PracticeEngine, kPracticeEngines> kEngines{{
    {1, "Plover 1300", "Idles a little fast since the manifold was off.",
     "One leak on a calm idle: the first answer already shows it, the second proves it."},
    {2, "Curlew 1600", "Fast and rough after new gaskets.",
     "Two leaks: the first one found is no reason to stop, every spot has to be decided."},
    {3, "Sandpiper 1800", "Hunts up and down by itself, with or without load.",
     "Hunting hides small answers; a longer quiet start and more bursts on few spots bring them out."},
    {4, "Bittern 1400", "Somebody on a forum is sure that it leaks.",
     "No leak at all: a visit that rules out every spot with few bursts is a success."},
    {5, "Godwit 1700", "Runs rich, idles low.",
     "A leak may answer with a fall: too much fuel slows a rich idle. Both signs count."},
    {6, "Turnstone 1500", "Whistles somewhere near the injectors.",
     "Spray drifts: neighbours of a leak answer as well, by about a third. Mend the strongest, then test again."},
    {7, "Dunlin 2000", "The fan cuts in and out, the idle with it.",
     "Load steps come when they like; an answer that does not repeat on the same spot is none."},
    {8, "Whimbrel 1900", "Idle valve clicks away, idle seems fine, trims are not.",
     "A regulated idle takes the change back in seconds: only the first moments after the burst tell."},
    {9, "Redshank 2200", "Shakes as if air were drawn in; the last owner changed all hoses.",
     "A misfire feels like a leak and answers to no spray. Look at the balance before the can."},
    {10, "Greenshank 3500", "Twenty-four spots, old rubber everywhere, tired hands.",
     "Several leaks, missed bursts, a fan and drifting spray at once: patience, and the limits are there to be kept."},
}};

}  // namespace

std::span<const PracticeEngine> practice_engines() noexcept { return kEngines; }

sim::SessionSpec practice_engine(int number, std::uint64_t seed, double sample_rate_hz) {
    if (number < 1 || number > kPracticeEngines)
        throw std::out_of_range(fmt::format("practice engine {} is not 1..{}", number, kPracticeEngines));
    const auto& engine = kEngines[static_cast<std::size_t>(number - 1)];
    auto random = sim::sub_stream(seed, engine.name);
    const auto size = [&](double rpm) { return rpm * sim::uniform(random, 0.85, 1.15); };
    static constexpr std::array kCylinders{4, 4, 4, 4, 4, 4, 4, 4, 6, 8};
    static constexpr std::array kSpots{8, 10, 10, 12, 12, 14, 14, 12, 14, 24};
    std::vector<double> leaks;
    switch (number) {
        case 1:
            leaks = {size(25.0)};
            break;
        case 2:
            leaks = {size(30.0), size(17.0)};
            break;
        case 3:
            leaks = {size(22.0)};
            break;
        case 5:
            leaks = {-size(22.0)};
            break;
        case 6:
            leaks = {size(40.0)};
            break;
        case 7:
            leaks = {size(25.0)};
            break;
        case 8:
            leaks = {size(40.0)};
            break;
        case 10:
            leaks = {size(40.0), size(25.0), size(18.0)};
            break;
        default:
            break;  // 4 and 9 are tight
    }
    const auto at = static_cast<std::size_t>(number - 1);
    auto spec = sim::plain_session(sim::sub_seed(seed, engine.name), {}, kSpots[at], sample_rate_hz);
    auto& e = spec.engine;
    e.engine.name = engine.name;
    e.engine.cylinders = kCylinders[at];
    e.cylinder_strengths.assign(static_cast<std::size_t>(kCylinders[at]), 1.0);
    e.engine.idle_low_rpm = 600.0;
    e.engine.idle_high_rpm = 1100.0;
    spec.idle.mean_rpm = sim::uniform(random, 750.0, 900.0);
    spec.idle.hunting_rpm = number == 3 ? 7.0 : sim::uniform(random, 0.5, 3.0);
    spec.spots = sim::draw_bay(e.engine, kSpots[at], sim::sub_seed(seed, "practice bay"));
    spec.leak_rpm.assign(spec.spots.size(), 0.0);
    for (const double leak : leaks)
        for (;;) {
            const auto spot =
                static_cast<std::size_t>(sim::uniform(random, 0.0, static_cast<double>(spec.spots.size())));
            if (spot >= spec.spots.size() || spec.leak_rpm[spot] != 0.0) continue;
            if (number == 6 && !spec.spots[spot].cylinder) continue;  // with neighbours near by
            spec.leak_rpm[spot] = leak;
            break;
        }
    const auto fan = [&] {
        for (double t = sim::uniform(random, 40.0, 90.0); t < 3000.0;) {
            const double on_s = sim::uniform(random, 15.0, 40.0);
            spec.idle.loads.push_back({t, -sim::uniform(random, 12.0, 22.0), 0.6, t + on_s});
            t += on_s + sim::uniform(random, 50.0, 110.0);
        }
        spec.sound.fan.shaft_hz = 33.0;
        spec.sound.fan_snr_db = 9.0;
    };
    if (number >= 5) spec.hands.amount_spread = 0.2;
    if (number == 6 || number == 10) spec.hands.overspray_share = number == 6 ? 0.38 : 0.3;
    if (number == 7 || number == 10) fan();
    if (number == 8) {
        spec.idle.regulation_s = 3.0;
        e.engine.idle_control = IdleControl::regulated;
    }
    if (number == 9) {
        e.misfire_probability.assign(static_cast<std::size_t>(kCylinders[at]), 0.0);
        e.misfire_probability[2] = 0.2;
        spec.idle.wander_rpm = 5.0;
    }
    if (number == 10) {
        spec.hands.miss_probability = 0.1;
        spec.idle.warm_up_rpm = 25.0;
        spec.idle.natural_steps_per_min = 0.2;
    }
    return spec;
}

std::vector<std::string> debrief(const sim::SessionSpec& truth, const std::string& lesson, const VisitRecord& record,
                                 const plan::PlanStep& last) {
    std::vector<std::string> lines, found, missed, wrong;
    const auto id = [&](std::size_t s) { return truth.spots[s].id; };
    const auto name = [&](std::size_t s) { return truth.spots[s].name; };
    for (std::size_t s = 0; s < truth.spots.size(); ++s) {
        const double leak = truth.leak_rpm[s];
        const auto* told = s < last.all.size() ? &last.all[s] : nullptr;
        const bool leak_told = told && told->decision == plan::SpotDecision::leak;
        if (leak != 0.0 && leak_told)
            found.push_back(fmt::format("Found: spot {} ({}), {:+.0f} rpm in truth, {:+.0f} ({:+.0f} to {:+.0f}) told.",
                                        id(s), name(s), leak, told->change_rpm, told->low_rpm, told->high_rpm));
        else if (leak != 0.0)
            missed.push_back(fmt::format("Missed: spot {} ({}), {:+.0f} rpm; told: {}.", id(s), name(s), leak,
                                         told ? word(told->decision) : "not decided"));
        else if (leak_told)
            wrong.push_back(fmt::format("Wrong: spot {} ({}) is tight, and a leak was told.", id(s), name(s)));
    }
    if (found.empty() && missed.empty())
        lines.emplace_back(wrong.empty() ? "This engine has no leak, and none was told." : "This engine has no leak.");
    for (const auto* group : {&found, &missed, &wrong}) lines.insert(lines.end(), group->begin(), group->end());

    int bursts = 0, unasked = 0;
    std::string most_spot;
    int most = 0;
    for (const auto& b : record.bursts) {
        if (b.undone || b.sham) continue;
        ++bursts;
        unasked += !b.asked;
        for (const auto& spot : b.spots) {
            const auto n =
                static_cast<int>(std::count_if(record.bursts.begin(), record.bursts.end(), [&](const auto& o) {
                    return !o.undone && !o.sham && std::find(o.spots.begin(), o.spots.end(), spot) != o.spots.end();
                }));
            if (n > most) {
                most = n;
                most_spot = spot;
            }
        }
    }
    lines.push_back(fmt::format("Spray: {} bursts on {} spots; three on every spot would have been {}.", bursts,
                                truth.spots.size(), 3 * truth.spots.size()));
    if (unasked > 0)
        lines.push_back(fmt::format("{} of them nobody asked for: each is spray in the air for little.", unasked));
    if (most > 4) lines.push_back(fmt::format("Spot {} had {}, the most.", most_spot, most));
    if (!lesson.empty()) lines.push_back(lesson);
    return lines;
}

}  // namespace idlehark
