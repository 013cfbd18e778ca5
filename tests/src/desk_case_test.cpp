#include "src/desk/desk_case.hpp"

#include "dsp/sim/engine_sound.hpp"
#include "src/casebook/case_result.hpp"
#include "src/desk/desk.hpp"
#include "src/desk/job.hpp"
#include "src/desk/kept_case.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/casebook_support.hpp"
#include "tests/src/desk_support.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace std::chrono_literals;
using test::await;
namespace ask = gui::ask;

namespace {

template <class T>
T sure(Result<T> result) {
    if (!result) FAIL(result.error().what);
    return std::move(result.value());
}

/// A result of a recording with these figures.
void add(Casebook& book, RowId visit, const char* kind, const std::vector<ResultSource>& sources, const Json& figures,
         const std::vector<RpmReading>& trace = {}) {
    CaseResult r;
    r.visit = visit;
    r.kind = kind;
    r.engine = sure(book.engine()).id;
    r.map = sure(book.map())->id;
    r.settings = {{"matters_rpm", 12.0}};
    r.figures = figures;
    r.sources = sources;
    sure(book.add_result(r, trace));
}

/// Two visits, as commands and window leave them behind: a guided test with its surveys, and an idle of a cold engine.
std::string finished_case(const test::ScratchFolder& folder) {
    const auto path = folder.path("finished");
    auto book = test::new_case(path);
    sure(book.add_log_entry({.id = 0,
                             .visit = {},
                             .name = "fuel pressure",
                             .low = 2.5,
                             .high = 3.2,
                             .unit = "bar",
                             .reading = 2.9,
                             .state = LogState::ok,
                             .note = "",
                             .added_at = ""}));
    Visit before;
    before.date = "2026-05-30";
    before.title = "before";
    before.warmth = Warmth::warm;
    const auto first = sure(book.add_visit(before));
    sure(book.answer_gate(first, "Are you wearing eye protection?", "yes"));
    const auto bay =
        sure(book.import_recording(first, RecordingKind::bay, test::tone_file(folder, "bay.wav", 1.0), 1, {}));
    const auto probe =
        sure(book.import_recording(first, RecordingKind::injector, test::tone_file(folder, "p1.wav", 1.0), 1, {}));
    VisitRecord record;
    record.bursts.push_back({.spots = {"3"},
                             .sham = false,
                             .time_s = 30.0,
                             .by_key = true,
                             .found_onset_s = 30.2,
                             .found_duration_s = 1.1,
                             .asked = true,
                             .near_gap = false,
                             .undone = false});
    record.ended = "Every spot is decided.";
    sure(book.keep_guided(first, record));
    const auto spot = [](const char* id, double change, const char* verdict) {
        return Json{{"spot", id},
                    {"bursts", 2},
                    {"change_rpm", change},
                    {"low_rpm", change - 3.0},
                    {"high_rpm", change + 3.0},
                    {"p_value", 0.001},
                    {"verdict", verdict}};
    };
    add(book, first, "spray", {{bay, "", 0.0}}, {{"spots", {spot("3", 99.0, "none seen")}}});
    add(book, first, "guided", {{bay, "", 0.0}},
        {{"idle_rpm", 801.0},
         {"hunting_rpm", 2.0},
         {"smallest_provable_rpm", 6.0},
         {"spots", {spot("3", 24.0, "leak"), spot("7", 9.0, "overspray")}},
         {"bursts", {{{"time_s", 30.2}, {"spot", "3"}}}},
         {"cautions", {"a gap"}},
         {"notes", {"a note"}},
         {"length_s", 60.0}});
    std::vector<RpmReading> trace;
    for (int i = 0; i < 600; ++i) {
        RpmReading r;
        r.time_s = 0.1 * i;
        r.rpm = i == 7 ? std::nan("") : 800.0 + i % 3;  // lock is lost for a moment
        r.rpm_low = 798.0;
        r.rpm_high = 804.0;
        r.locked = i != 7;
        trace.push_back(r);
    }
    add(book, first, "idle", {{bay, "", 0.0}}, {{"rpm", 801.0}}, trace);
    add(book, first, "injectors", {{probe, "1", 0.0}},
        {{"injectors",
          {{{"cylinder", 1}, {"rate_hz", 6.5}, {"missed_percent", 12.0}, {"verdict", "missing clicks"}}}}});
    add(book, first, "hiss", {{probe, "3", 0.0}},
        {{"spots", {{{"spot", "3"}, {"level_db", 7.5}, {"verdict", "stands out"}}}}});
    add(book, first, "balance", {{bay, "", 0.0}},
        {{"half_order_share", 0.2},
         {"cylinders", {{{"cylinder", 2}, {"strength", 0.5}, {"strength_low", 0.4}, {"verdict", "weak"}}}}});
    Visit after;
    after.date = "2026-06-06";
    after.title = "after the repair";
    after.warmth = Warmth::cold;
    const auto second = sure(book.add_visit(after));
    sure(book.import_recording(second, RecordingKind::bay, test::tone_file(folder, "after.wav", 1.0), 1, {}));
    return path;
}

}  // namespace

TEST_CASE("Desk: a finished case is opened as it was stored, and looking adds nothing", "[src][desk]") {
    const test::ScratchFolder folder;
    const auto path = finished_case(folder);
    Desk desk{{.cases_folder = folder.path("cases"), .practice_spots = 3}};
    desk.send(ask::OpenCase{path});
    auto view = await(desk, 20s, [](const auto& v) { return v.visit_shown != 0 || v.fault; });
    if (view->fault) FAIL(view->fault->what);
    CHECK(view->stage == gui::Stage::report);
    REQUIRE(view->kept);
    REQUIRE(view->kept->visits.size() == 2);
    CHECK(view->visit_shown == view->kept->visits.back().id);
    CHECK(view->headline.empty());  // the second visit has no spray test
    CHECK_FALSE(view->gate.open);

    const auto& first = view->kept->visits.front();
    desk.send(ask::ShowVisit{first.id});
    view = await(desk, 20s, [&](const auto& v) { return v.visit_shown == first.id; });
    const auto shown = [&](const char* id) -> const gui::SpotView& {
        const auto it =
            std::find_if(view->spots.begin(), view->spots.end(), [&](const auto& s) { return s.place.spot == id; });
        REQUIRE(it != view->spots.end());
        return *it;
    };
    // The guided test's own standing counts, not the same bursts judged once more.
    CHECK(shown("3").verdict == SprayVerdict::leak);
    CHECK(shown("3").change_rpm == 24.0);
    CHECK(shown("3").low_rpm == 21.0);
    CHECK(shown("3").hiss_verdict == HissVerdict::stands_out);
    CHECK(shown("7").verdict == SprayVerdict::overspray);
    CHECK(view->settle.idle_rpm == 801.0);
    CHECK(view->settle.matters_rpm == 12.0);
    REQUIRE(view->bursts.size() == 1);
    CHECK(view->bursts[0].time_s == 30.2);
    CHECK(view->bursts[0].duration_s == 1.1);
    CHECK(view->sound.mode == gui::Mode::kept);
    REQUIRE(view->trace);
    REQUIRE(view->trace->size() == 600);
    CHECK(std::isnan((*view->trace)[7].rpm));
    CHECK((*view->trace)[8].rpm == Approx(802.0));
    CHECK(view->injectors[0].judged == InjectorVerdict::missing_clicks);
    CHECK(view->injectors[0].missed_percent == 12.0);
    REQUIRE(view->balance.cylinders.size() == 1);
    CHECK(view->balance.named);
    CHECK(view->balance.cylinders[0].verdict == CylinderVerdict::weak);
    CHECK(view->cautions == std::vector<std::string>{"a gap"});
    REQUIRE_FALSE(view->log.empty());
    const auto entry =
        std::find_if(view->log.begin(), view->log.end(), [](const auto& l) { return l.name == "fuel pressure"; });
    REQUIRE(entry != view->log.end());
    CHECK(entry->answer == gui::LogAnswer::ok);
    CHECK(entry->reading == 2.9);
    REQUIRE(first.answers.size() == 1);
    CHECK(first.answers[0].yes);
    REQUIRE(first.bursts.size() == 1);
    CHECK(first.bursts[0].by_hand);
    CHECK(first.ended == "Every spot is decided.");

    // What was confirmed then opens nothing now.
    CHECK_FALSE(view->gate.open);
    desk.send(ask::StartSpray{});
    view = await(desk, 10s, [](const auto& v) { return v.fault.has_value(); });
    REQUIRE(view->fault);
    desk.send(ask::SetStage{gui::Stage::compare});
    desk.send(ask::CloseFault{view->fault->number});
    await(desk, 10s, [](const auto& v) { return !v.fault; });
    const auto book = sure(Casebook::open(path, Casebook::Access::read));
    CHECK(sure(book.visits()).size() == 2);
    CHECK(sure(book.log()).size() == 1);
}

TEST_CASE("Desk: visits that do not compare are refused with the reason, and may be compared all the same",
          "[src][desk]") {
    const test::ScratchFolder folder;
    Desk desk{{.cases_folder = folder.path("cases"), .practice_spots = 3}};
    desk.send(ask::OpenCase{finished_case(folder)});
    auto view = await(desk, 20s, [](const auto& v) { return v.visit_shown != 0; });
    REQUIRE(view->kept);
    const auto before = view->kept->visits.front().id, after = view->kept->visits.back().id;
    desk.send(ask::Compare{before, after, false});
    view = await(desk, 20s, [](const auto& v) { return v.compare != nullptr; });
    REQUIRE(view->compare);
    CHECK(view->compare->refusal.find("cold") != std::string::npos);
    CHECK(view->compare->anyway);
    desk.send(ask::Compare{before, after, true});  // a second of a tone is no idle
    view = await(desk, 60s,
                 [](const auto& v) { return v.compare && v.compare->refusal.find("cold") == std::string::npos; });
    CHECK_FALSE(view->compare->refusal.empty());
    CHECK_FALSE(view->compare->anyway);
    CHECK(view->compare->lines.empty());
}

TEST_CASE("Desk: writes the report of a finished case beside it, and says where", "[src][desk]") {
    const test::ScratchFolder folder;
    const auto path = finished_case(folder);
    Desk desk{{.cases_folder = folder.path("cases"), .practice_spots = 3}};
    desk.send(ask::WriteReport{});
    auto view = await(desk, 20s, [](const auto& v) { return v.fault.has_value(); });
    REQUIRE(view->fault);  // nothing to report yet
    CHECK_FALSE(view->fault->hint.empty());
    desk.send(ask::CloseFault{view->fault->number});
    desk.send(ask::OpenCase{path});
    await(desk, 20s, [](const auto& v) { return v.visit_shown != 0; });
    desk.send(ask::WriteReport{});
    view = await(desk, 60s, [](const auto& v) { return !v.written.empty() || v.fault; });
    if (view->fault) FAIL(view->fault->what);
    REQUIRE(view->written == std::vector<std::string>{path + "/report.html"});
    const auto page = sure(read_text(path + "/report.html", 10'000'000));
    for (const char* part : {"Guided spray test", "The guided test, burst by burst", "Points of caution answered yes",
                             "Elimination log", "fuel pressure", "after the repair"})
        CHECK(page.find(part) != std::string::npos);
    CHECK(page.find("+99.0") == std::string::npos);  // the same bursts judged once more are left out
}

TEST_CASE("Desk: known cases are offered, the one opened last first", "[src][desk]") {
    const test::ScratchFolder folder;
    const auto cases = folder.path("cases");
    std::filesystem::create_directories(cases);
    sure(Casebook::create(cases + "/a", "Alder", test::example_engine(), {}));
    sure(Casebook::create(cases + "/b", "Birch", test::example_engine(), {}));
    const auto elsewhere = folder.path("c");
    sure(Casebook::create(elsewhere, "Cedar", test::example_engine(), {}));
    auto known = known_cases(cases, cases + "/b");
    REQUIRE(known.size() == 2);
    CHECK(known[0].name == "Birch");
    CHECK(known[0].last);
    known = known_cases(cases, elsewhere);
    REQUIRE(known.size() == 3);
    CHECK(known[0].name == "Cedar");
    CHECK(known_cases(folder.path("none"), "").empty());
}

TEST_CASE("DeskCase: a visit begins when something is kept in it; its points of caution are kept anew when asked anew",
          "[src][desk]") {
    const test::ScratchFolder folder;
    auto made = sure(DeskCase::create(folder.path("case"), "Marlow", test::example_engine(), "first"));
    CHECK(sure(made.book().visits()).empty());
    gui::GateView gate;
    gate.answers[0] = true;
    sure(made.keep_gate(gate));
    sure(made.keep_gate(gate));
    const auto visits = sure(made.book().visits());
    REQUIRE(visits.size() == 1);
    CHECK(visits[0].title == "first");
    CHECK(sure(made.book().gate_answers(visits[0].id)).size() == 1);
    made.ask_again();
    sure(made.keep_gate(gate));
    CHECK(sure(made.book().gate_answers(visits[0].id)).size() == 2);
    made.next_visit();
    CHECK_FALSE(made.visit_so_far());
    sure(made.keep_gate(gate));
    CHECK(sure(made.book().visits()).size() == 2);
}

TEST_CASE("Job: work waits for work, a fault is told, and cancelling drops what waits", "[src][desk]") {
    Job job;
    std::vector<int> order;
    const auto finish = [&](int times) {
        for (int i = 0; i < 2000 && times > 0; ++i) {
            if (const auto outcome = job.finished([&](const Error& e) {
                    CHECK(e.what.find("third") != std::string::npos);
                    order.push_back(-3);
                })) {
                --times;
                if (*outcome) (*outcome)();
            }
            std::this_thread::sleep_for(1ms);
        }
    };
    const auto adds = [&order](int n) { return [&order, n] { order.push_back(n); }; };
    job.start("first", [&](Job::Ticket&) -> Job::Outcome { return adds(1); });
    job.start("second", [&](Job::Ticket&) -> Job::Outcome { return adds(2); });
    job.start("third", [](Job::Ticket&) -> Job::Outcome { throw std::runtime_error("third is broken"); });
    finish(3);
    CHECK(order == std::vector{1, 2, -3});
    CHECK_FALSE(job.running());
    job.start("long", [](Job::Ticket& ticket) -> Job::Outcome {
        for (;;) {
            ticket.at(0.5);
            std::this_thread::sleep_for(1ms);
        }
    });
    job.start("waits", [&](Job::Ticket&) -> Job::Outcome { return adds(5); });
    job.cancel();
    job.start("after", [&](Job::Ticket&) -> Job::Outcome { return adds(6); });
    finish(2);
    CHECK_FALSE(job.running());
    CHECK(order == std::vector{1, 2, -3, 6});
    // Cancelled once more, what came after the first time is given up too.
    job.start("long", [](Job::Ticket& ticket) -> Job::Outcome {
        for (;;) ticket.at(0.5);
    });
    job.cancel();
    job.start("waits", [&](Job::Ticket&) -> Job::Outcome { return adds(7); });
    job.cancel();
    finish(1);
    CHECK_FALSE(job.running());
    CHECK(order == std::vector{1, 2, -3, 6});
}

TEST_CASE("Desk: what was typed last is kept when the window is closed", "[src][desk]") {
    const test::ScratchFolder folder;
    const auto path = folder.path("car");
    Engine engine;
    engine.firing_order = {1, 3, 4, 2};
    REQUIRE(Casebook::create(path, "car", engine, {}));
    {
        Desk desk{{.cases_folder = folder.path("cases")}};
        desk.send(ask::OpenCase{path});
        const auto view = test::await(desk, 20s, [](const auto& v) { return !v.case_folder.empty() || v.fault; });
        if (view->fault) FAIL(view->fault->what);
        auto log = view->log;
        log.emplace_back();
        log.back().name = "coil resistance";
        log.back().note = "as in the book";
        desk.send(ask::SetLog{log});
        engine.name = "the old four";
        desk.send(ask::SetEngine{engine});
    }
    const auto book = Casebook::open(path, Casebook::Access::read);
    REQUIRE(book);
    const auto log = book.value().log();
    REQUIRE(log);
    REQUIRE(log.value().size() == 1);
    CHECK(log.value()[0].name == "coil resistance");
    CHECK(book.value().engine().value().engine.name == "the old four");
}

TEST_CASE("Desk: a recording that was cut off by a pulled plug is closed and measured when its case is opened",
          "[src][desk]") {
    const test::ScratchFolder folder;
    const auto path = folder.path("cut");
    std::string sound;
    {
        auto book = test::new_case(path);
        Visit visit;
        visit.date = "2026-05-30";
        visit.title = "visit";
        const auto id = sure(book.add_visit(visit));
        const auto begun = sure(book.begin_recording(id, RecordingKind::bay, "bay.flac", 1, ""));
        sound = begun.path;
        auto writer = sure(SoundWriter::open(sound, 16000.0));
        sim::EngineSoundSpec spec;
        spec.sample_rate_hz = 16000.0;
        sim::EngineSound engine{spec, sim::SpeedPath{std::vector{800.0, 800.0}}};
        sure(writer.write(sim::render_seconds(engine, 30.0)));
    }  // nobody said that it is whole
    SECTION("long ago") {
        std::filesystem::last_write_time(sound, std::filesystem::file_time_type::clock::now() - 1h);
        Desk desk{{.cases_folder = folder.path("cases")}};
        desk.send(ask::OpenCase{path});
        const auto view = await(desk, 120s, [](const auto& v) {
            return (v.kept && !v.kept->visits.empty() && std::isfinite(v.kept->visits[0].idle_rpm) && !v.job.running) ||
                   v.fault;
        });
        if (view->fault) FAIL(view->fault->what);
        REQUIRE(view->kept);
        CHECK(view->kept->visits[0].idle_rpm == Approx(800.0).margin(3.0));
        CHECK(view->kept->visits[0].recordings[0].length_s == Approx(30.0).margin(0.1));
        CHECK(view->trace->size() > 200);
    }
    SECTION("a moment ago: somebody may be at it") {
        Desk desk{{.cases_folder = folder.path("cases")}};
        desk.send(ask::OpenCase{path});
        const auto view = await(desk, 20s, [](const auto& v) { return v.fault.has_value(); });
        REQUIRE(view->fault);
        CHECK(view->fault->what.find("another program is recording") != std::string::npos);
        CHECK_FALSE(view->fault->hint.empty());
    }
}

TEST_CASE("Desk: a microphone that does not open leaves no recording behind, and its name is free for the next start",
          "[src][desk]") {
    const test::ScratchFolder folder;
    Desk desk{{.cases_folder = folder.path("cases"), .microphone = folder.path("mic.wav"), .microphone_pace = 20.0}};
    const auto no_fault = [](const auto& v) { return !v.fault; };
    for (int start = 0; start < 2; ++start) {
        desk.send(ask::StartLive{});
        const auto failed = await(desk, 20s, [](const auto& v) { return v.fault.has_value(); });
        REQUIRE(failed->fault);
        CHECK(failed->fault->what.find("mic.wav") != std::string::npos);  // not what comes of a name that is taken
        desk.send(ask::CloseFault{failed->fault->number});
        REQUIRE(no_fault(*await(desk, 20s, no_fault)));
    }
    static_cast<void>(test::tone_file(folder, "mic.wav", 20.0));
    desk.send(ask::StartLive{});
    auto view = await(desk, 20s, [](const auto& v) { return v.sound.running || v.fault; });
    if (view->fault) FAIL(view->fault->what);
    desk.send(ask::Stop{});
    view = await(desk, 60s, [](const auto& v) { return !v.sound.running && !v.job.running; });
    const auto book = sure(Casebook::open(view->case_folder, Casebook::Access::read));
    const auto recordings = sure(book.recordings());
    REQUIRE(recordings.size() == 1);
    CHECK(recordings[0].file == "bay.flac");
    CHECK_FALSE(recordings[0].running);
    CHECK(sure(book.visits()).size() == 1);
}

TEST_CASE("DeskCase: every correction of a guided test is kept", "[src][desk]") {
    const test::ScratchFolder folder;
    auto kept = sure(DeskCase::create(folder.path("car"), "Marlow", test::example_engine(), ""));
    VisitRecord record;
    VisitBurst burst;
    burst.spots = {"3"};
    burst.time_s = 30.0;
    record.bursts = {burst};
    sure(kept.keep_guided(record));
    const auto visit = sure(kept.visit());
    const auto there = [&] { return sure(kept.book().guided(visit)).value(); };
    for (const char* spot : {"7", "9"}) {  // as W does in the window, once and once more
        record.bursts[0].spots = {spot};
        sure(kept.keep_guided(record));
        CHECK(there().bursts[0].spots[0] == spot);
    }
    record.bursts[0].time_s = 31.0;
    record.skipped = {{{"3"}, 1}};
    sure(kept.keep_guided(record));
    CHECK(there().bursts[0].time_s == 31.0);
    record.skipped = {{{"9"}, 1}};
    sure(kept.keep_guided(record));
    CHECK(there().skipped == record.skipped);
    record.clock_s = 99.0;  // time alone is nothing to keep
    sure(kept.keep_guided(record));
    CHECK(there().clock_s == 0.0);
}
