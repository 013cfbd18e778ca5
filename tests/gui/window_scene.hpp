#pragma once

#include "gui/view_state.hpp"

#include <cmath>
#include <cstdint>
#include <memory>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace idlehark::gui {

/// A test under way on a six, two minutes in: every page has something to show. Always the same.
inline ViewState window_scene() {
    ViewState v;
    v.revision = 1;
    v.engine.name = "Curlew 2400";
    v.engine.cylinders = 6;
    v.engine.firing_order = {1, 5, 3, 6, 2, 4};
    v.sound = {.mode = Mode::practice, .source = "Curlew 2400", .running = true, .now_s = 118.0};
    v.sound.rpm = 802.0;
    v.sound.rpm_low = 800.1;
    v.sound.rpm_high = 803.9;
    v.sound.locked = v.sound.recording = true;
    v.sound.peak_dbfs = -21.0;
    v.sound.held_dbfs = -14.0;
    v.sound.recorded_s = v.sound.now_s;
    v.gate.alternatives_seen = v.gate.open = true;
    for (auto& a : v.gate.answers) a = true;
    v.settle = {.heard_s = 25.0, .idle_rpm = 800.0, .hunting_rpm = 2.4, .smallest_provable_rpm = 6.1, .done = true};
    v.spray.phase = SprayPhase::prompt;
    v.spray.spot = "4";
    v.spray.spot_name = "intake gasket, cylinder 4";
    v.spray.bursts = 11;
    v.spray.most_bursts = 25;
    v.spray.decided = 7;
    v.spray.why = "Spot 4 is the likeliest of those that are open: a burst there tells most.";

    struct Told {
        double change, half;
        SprayVerdict verdict;
    };
    constexpr SprayVerdict kNone = SprayVerdict::none_seen;
    const std::vector<Told> told{{1.0, 5.0, kNone},
                                 {-2.0, 6.0, kNone},
                                 {24.0, 7.0, SprayVerdict::leak},
                                 {9.0, 11.0, SprayVerdict::undecided},
                                 {0.5, 4.0, kNone},
                                 {2.0, 5.0, kNone},
                                 {8.0, 4.0, SprayVerdict::overspray},
                                 {-1.0, 5.0, kNone},
                                 {31.0, 8.0, SprayVerdict::leak},
                                 {0.0, 6.0, kNone}};
    for (std::size_t i = 0; i < 12; ++i) {
        SpotView s;
        const bool gasket = i < 6;
        const int cylinder = static_cast<int>(gasket ? i : i - 6) + 1;
        s.place = {
            .spot = std::to_string(i + 1),
            .name = (gasket ? "intake gasket, cylinder " : "injector seal, cylinder ") + std::to_string(cylinder),
            .kind = gasket ? SpotKind::gasket : SpotKind::injector_seal,
            .x_mm = 90.0 + 85.0 * cylinder,
            .y_mm = gasket ? 240.0 : 170.0,
            .cylinder = cylinder};
        if (i < told.size()) {
            s.bursts = told[i].verdict == kNone ? 1 : 3;
            s.change_rpm = told[i].change;
            s.low_rpm = told[i].change - told[i].half;
            s.high_rpm = told[i].change + told[i].half;
            s.verdict = told[i].verdict;
            s.decided = told[i].verdict != SprayVerdict::undecided;
        }
        s.prompted = s.place.spot == v.spray.spot;
        s.hiss_taken = true;
        s.hiss_db = i == 2 ? 9.0 : i == 8 ? 7.0 : 0.4 * std::sin(static_cast<double>(i));
        s.hiss_low_db = *s.hiss_db - 1.2;
        s.hiss_high_db = *s.hiss_db + 1.2;
        s.hiss_verdict = i == 2 ? HissVerdict::stands_out : i == 8 ? HissVerdict::loud_steady : HissVerdict::ordinary;
        s.hiss_stands_out = i == 2;
        v.map.spots.push_back(s.place);
        v.spots.push_back(std::move(s));
    }

    auto trace = std::make_shared<std::vector<TracePoint>>();
    for (int n = 0; n <= 1180; ++n) {
        const double t = 0.1 * n;
        double rpm = 800.0 + 2.4 * std::sin(2.0 * std::numbers::pi * 0.3 * t) + 0.8 * std::sin(7.3 * t);
        for (const double burst_s : {66.0, 94.0})
            if (t > burst_s) rpm += 24.0 * (1.0 - std::exp(burst_s - t)) * std::exp((burst_s - t) / 4.0);
        trace->push_back({t, rpm, rpm - 1.9, rpm + 1.9});
    }
    v.trace = std::move(trace);
    v.bursts = {{66.0, 1.0, "3"}, {80.0, 0.9, "7"}, {94.0, 1.1, "3"}};

    for (int c = 1; c <= 6; ++c) {
        InjectorLine line;
        line.cylinder = c;
        line.taken = true;
        line.rate_hz = c == 5 ? 5.6 : 6.7;
        line.expected_hz = 6.7;
        line.missed_percent = c == 5 ? 16.0 : 0.0;
        line.jitter_us = 90.0;
        line.level_db = c == 2 ? -7.5 : 0.3;
        line.judged = c == 5   ? InjectorVerdict::missing_clicks
                      : c == 2 ? InjectorVerdict::differs
                               : InjectorVerdict::regular;
        ClickView clicks{.power = {}, .from_ms = -1.0, .step_ms = 0.1, .open_ms = 0.0, .close_ms = 2.8};
        for (int n = 0; n < 70; ++n) {
            const double t = -1.0 + 0.1 * n;
            const auto click = [t](double at_ms) { return t < at_ms ? 0.0 : std::exp((at_ms - t) / 0.5); };
            clicks.power.push_back(1.0 + (c == 2 ? 6.0 : 35.0) * (click(0.0) + 0.6 * click(2.8)));
        }
        line.clicks = std::make_shared<const ClickView>(std::move(clicks));
        v.injectors.push_back(std::move(line));
    }
    auto kept = std::make_shared<KeptCase>();
    kept->name = "Curlew 2400 (invented)";
    kept->visits.resize(2);
    for (std::size_t i = 0; i < 2; ++i) {
        kept->visits[i].id = static_cast<std::int64_t>(i) + 1;
        kept->visits[i].comparable = true;
    }
    kept->visits[0].date = "2026-05-30";
    kept->visits[0].title = "before";
    kept->visits[1].date = "2026-06-06";
    kept->visits[1].title = "after the repair";
    v.kept = std::move(kept);
    auto compare = std::make_shared<CompareState>();
    compare->before_visit = 1;
    compare->after_visit = 2;
    const auto changed = [&](const char* figure, const char* name, double before, double after, double half,
                             ChangeVerdict verdict) {
        compare->lines.push_back({.figure = figure,
                                  .name = name,
                                  .unit = "rpm",
                                  .before = before,
                                  .after = after,
                                  .difference = after - before,
                                  .low = after - before - half,
                                  .high = after - before + half,
                                  .verdict = verdict});
    };
    changed("idle speed", "", 801.0, 806.0, 24.0, ChangeVerdict::no_proven);
    changed("hunting", "", 2.0, 6.4, 2.3, ChangeVerdict::worse);
    changed("spot 3", "intake gasket, cylinder 3", 24.1, 1.2, 4.1, ChangeVerdict::better);
    changed("spot 9", "injector seal, cylinder 3", 31.0, 30.2, 5.0, ChangeVerdict::no_proven);
    compare->cautions = {"another device was used: the hiss is left out"};
    v.compare = std::move(compare);
    v.headline = "Leak at 3 (+24 rpm) and 9 (+31 rpm)";
    v.cautions = {"spot 7 answers less than its neighbour 3: the spray may have drifted"};
    return v;
}

}  // namespace idlehark::gui
