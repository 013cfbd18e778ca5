// The guided visit and its replay where something happens between: an undo, a skip, missing sound.
#include "src/visit/guided_visit.hpp"

#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/speed_path.hpp"
#include "src/analysis/listen.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/files/json_text.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sample24.hpp"
#include "src/visit/visit_marks.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <random>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

constexpr double kRate_hz = 16000.0;

BayMap map_of(int spots) {
    BayMap map;
    for (int i = 0; i < spots; ++i) {
        MapSpot spot;
        spot.spot = std::to_string(i + 1);
        spot.x_mm = 400.0 * i;
        map.spots.push_back(spot);
    }
    return map;
}

GuidedVisit visit_to(int spots, bool in_background) {
    VisitPlanSettings settings;
    settings.map = map_of(spots);
    VisitConfig config;
    for (const auto& s : settings.map.spots) config.spots.push_back(s.spot);
    SprayVisit visit{config};
    visit.begin_recording("bay.flac", 0.0);
    for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
    return {std::move(visit), std::move(settings), in_background};
}

/// A steady engine that plays along: no spot leaks.
struct Bench {
    GuidedVisit guided;
    double now_s = 0.0;
    std::mt19937 random{11};

    void run(double seconds, bool pump = true) {
        std::normal_distribution<double> unrest(0.0, 1.0);
        for (const double until_s = now_s + seconds; now_s < until_s; now_s += 0.1) {
            guided.time(now_s);
            const double rpm = 800.0 + unrest(random);
            guided.reading(
                {.reading = {.time_s = now_s, .rpm = rpm, .rpm_low = rpm - 2.0, .rpm_high = rpm + 2.0, .locked = true},
                 .near_gap = false});
            if (pump) guided.pump();
        }
    }
    bool run_until(VisitStage stage, bool pump = true) {
        for (const double until_s = now_s + 120.0; now_s < until_s && guided.visit().state().stage != stage;)
            run(0.1, pump);
        return guided.visit().state().stage == stage;
    }
    /// Until the plan that is being worked out has come; what pump() said.
    bool wait_for_plan() {
        const auto end = std::chrono::steady_clock::now() + std::chrono::seconds{60};
        while (!guided.pump())
            if (std::this_thread::sleep_for(std::chrono::milliseconds{2}); std::chrono::steady_clock::now() > end)
                return false;
        return true;
    }
};

}  // namespace

TEST_CASE("GuidedVisit: a plan that comes after an undo or a correction is stale", "[visit][plan]") {
    const int way = GENERATE(0, 1, 2);
    CAPTURE(way);
    Bench b{visit_to(3, true)};
    auto& visit = b.guided.visit();
    // The first plan; its spot is sprayed and heard out.
    REQUIRE(b.run_until(VisitStage::planning, false));
    REQUIRE(b.guided.pump());
    REQUIRE(b.wait_for_plan());
    REQUIRE(b.run_until(VisitStage::prompting));
    const auto first = visit.state().asked.front();
    visit.key(b.now_s);
    REQUIRE(b.run_until(VisitStage::planning, false));
    REQUIRE(b.guided.pump());  // from here on a plan is worked out that knows this burst on this spot
    const auto bursts = visit.record().bursts.size();
    const auto other = first == "2" ? "3" : "2";
    if (way == 0) visit.undo();
    if (way == 1) visit.wrong_spot(other);
    if (way == 2) visit.hiss(visit.record().bursts.back().time_s + 0.7, 1.0);  // the key was pressed early
    REQUIRE(visit.wants_plan());
    REQUIRE(visit.record().bursts.size() == bursts);
    REQUIRE(b.wait_for_plan());
    CHECK(visit.wants_plan());  // it was not taken
    const auto bursts_on = [&](const std::string& spot) {
        return b.guided.step()->all[static_cast<std::size_t>(std::stoi(spot) - 1)].bursts;
    };
    CHECK(bursts_on(first) == 0);
    // The next one rests on what is true now.
    REQUIRE(b.run_until(VisitStage::planning, false));
    b.run(1.0, false);
    REQUIRE(b.guided.pump());
    REQUIRE(b.wait_for_plan());
    CHECK_FALSE(visit.wants_plan());
    CHECK(bursts_on(first) == (way == 2 ? 1 : 0));
    CHECK(bursts_on(other) == (way == 1 ? 1 : 0));
}

TEST_CASE("plan: a spot skipped late is replayed as one that was asked for until then", "[visit][plan]") {
    Bench b{visit_to(7, false)};
    auto& visit = b.guided.visit();
    struct Planned {
        std::size_t bursts, skips;
        plan::PlanStep step;
    };
    std::vector<Planned> planned;
    std::string skipped;
    const auto note = [&] {
        planned.push_back({visit.record().bursts.size(), visit.record().skipped.size(), *b.guided.step()});
    };
    for (int n = 0; n < 7 && visit.state().stage != VisitStage::done; ++n) {
        if (!b.run_until(VisitStage::prompting)) break;
        note();
        if (n == 3)
            for (int twice = 0; twice < 2; ++twice) {
                skipped = visit.state().asked.front();
                visit.skip();
                REQUIRE(b.run_until(VisitStage::prompting));
                note();
            }
        visit.key(b.now_s);
    }
    REQUIRE(planned.size() > 6);
    REQUIRE(visit.record().skipped.size() == 2);
    REQUIRE(visit.left_out(skipped));
    CHECK(visit.record().skipped[1] == VisitSkip{{skipped}, 3});
    for (const auto& live : planned) {
        CAPTURE(live.bursts, live.skips);
        auto record = visit.record();
        record.bursts.resize(live.bursts);
        if (live.bursts == 3) record.skipped.resize(live.skips);  // else the bursts tell which are known
        const auto replayed = replay_plan(record, visit.config(), b.guided.readings(), b.guided.settings());
        CHECK(replayed.spots == live.step.spots);
        CHECK(replayed.why == live.step.why);
        REQUIRE(replayed.all.size() == live.step.all.size());
        for (std::size_t s = 0; s < replayed.all.size(); ++s) {
            CAPTURE(s);
            CHECK(replayed.all[s].decision == live.step.all[s].decision);
            CHECK(replayed.all[s].why == live.step.all[s].why);
            CHECK(replayed.all[s].belief.leaks == live.step.all[s].belief.leaks);
        }
    }
}

TEST_CASE("Visit record: when a spot was skipped is kept; an older record, which does not say, is read", "[visit]") {
    VisitRecord record;
    record.bursts.resize(3);
    record.skipped = {{{"9"}, 0}, {{"3", "7"}, 2}};
    auto json = visit_record_json(record);
    const auto kept = visit_record_from_json(json, "record");
    REQUIRE(kept);
    CHECK(kept.value().skipped == record.skipped);
    json["skipped"] = {"9", "3", "3"};
    const auto older = visit_record_from_json(json, "record");
    REQUIRE(older);
    CHECK(older.value().skipped == std::vector<VisitSkip>{{{"9"}, 0}, {{"3"}, 0}, {{"3"}, 0}});
    CHECK(left_out(older.value(), "3"));
    CHECK_FALSE(left_out(older.value(), "9"));
    for (const char* wrong : {"-1", "1e300", "\"2\"", "null"}) {
        CAPTURE(wrong);
        json["skipped"] = Json::array({{{"spots", {"9"}}, {"after_bursts", Json::parse(wrong)}}});
        CHECK_FALSE(visit_record_from_json(json, "record"));
    }
}

TEST_CASE("GuidedVisit: the planner gets no figure near missing sound, live as in replay", "[visit][live]") {
    const test::ScratchFolder folder;
    sim::SpeedPathSpec idle;
    idle.duration_s = 30.0;
    idle.mean_rpm = 800.0;
    sim::EngineSoundSpec spec;
    spec.sample_rate_hz = kRate_hz;
    sim::EngineSound engine(spec, sim::SpeedPath(idle));
    auto sound = sim::render_seconds(engine, 30.0);
    for (auto& x : sound) x = from_24_bits(to_24_bits(x));
    const std::span<const float> before = std::span{sound}.first(240000), after = std::span{sound}.subspan(256000);

    auto guided = visit_to(3, false);
    LiveAnalysis analysis({.sample_rate_hz = kRate_hz, .engine = spec.engine},
                          {.reading = [&](const LiveReading& r) { guided.reading(r); }, .burst = {}, .order_row = {}});
    analysis.process(before);
    analysis.gap();
    analysis.process(after);
    analysis.finish();

    RecordingSettings settings;
    settings.sample_rate_hz = kRate_hz;
    auto recorder = Recorder::create(folder.path("bay.wav"), settings);
    REQUIRE(recorder);
    for (const auto part : {before, after}) {
        std::vector<std::int32_t> samples;
        for (const float x : part) samples.push_back(to_24_bits(x));
        REQUIRE(recorder.value().write(samples));
        if (part.data() == before.data()) REQUIRE(recorder.value().gap(16000));
    }
    REQUIRE(recorder.value().finish("test"));
    std::vector<RpmReading> replayed;
    ListenSinks sinks;
    sinks.readings = [&](std::span<const RpmReading> r) { replayed.insert(replayed.end(), r.begin(), r.end()); };
    ListenRequest request;
    request.path = folder.path("bay.wav");
    request.engine = spec.engine;
    REQUIRE(listen_through(request, sinks));

    const auto& live = guided.readings();
    REQUIRE(live.size() == replayed.size());
    std::size_t different = 0, locked = 0;
    for (std::size_t i = 0; i < live.size(); ++i) {
        const auto same = [](double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); };
        different += live[i].time_s != replayed[i].time_s || live[i].locked != replayed[i].locked ||
                     !same(live[i].rpm, replayed[i].rpm) || !same(live[i].rpm_low, replayed[i].rpm_low);
        locked += live[i].locked;
        if (std::abs(live[i].time_s - 15.0) < 1.0) CHECK(std::isnan(live[i].rpm));
    }
    CHECK(different == 0);
    CHECK(locked > 150);
}
