#include "src/casebook/case_compare.hpp"
#include "src/casebook/case_report_of.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/cli/guide_case.hpp"
#include "src/desk/kept_case.hpp"
#include "src/files/text_file.hpp"
#include "src/practice/engines.hpp"
#include "src/practice/practice_bay.hpp"
#include "src/practice/practice_visit.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sample24.hpp"
#include "src/visit/guide_view.hpp"
#include "src/visit/guided_verdict.hpp"
#include "src/visit/visit_marks.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

void answer_all(SprayVisit& visit) {
    for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
}

/// A whole visit to the first engine, and what was heard, once for all tests.
struct Played {
    PracticeVisit practised{practice_engine(1, 5), {}, false};
    std::vector<float> sound;
    std::vector<std::pair<std::size_t, plan::PlanStep>> steps;  ///< bursts before, and the step then planned

    Played() {
        answer_all(practised.guided().visit());
        practised.follow_prompts(3);
        auto& visit = practised.guided().visit();
        std::size_t known = 999;
        while (visit.state().stage != VisitStage::done && practised.now_s() < 900.0) {
            practised.run(0.2, [&](AudioView x) { sound.insert(sound.end(), x.begin(), x.end()); });
            if (practised.guided().step() && visit.record().bursts.size() != known && !visit.state().asked.empty()) {
                known = visit.record().bursts.size();
                steps.emplace_back(known, *practised.guided().step());
            }
        }
    }
};
Played& played() {
    static Played one;
    return one;
}

}  // namespace

TEST_CASE("PracticeVisit: a guided visit through the whole pipeline finds the leak of a calm engine",
          "[visit][practice]") {
    auto& p = played();
    const auto& visit = p.practised.guided().visit();
    CHECK(visit.state().stage == VisitStage::done);
    const auto& spec = p.practised.bay().spec();
    const auto& last = *p.practised.guided().step();
    for (std::size_t s = 0; s < spec.spots.size(); ++s) {
        CAPTURE(s, last.all[s].why);
        CHECK((last.all[s].decision == plan::SpotDecision::leak) == (spec.leak_rpm[s] != 0.0));
    }
    int sprays = 0;
    for (const auto& b : visit.record().bursts) {
        if (b.sham) continue;
        ++sprays;
        CHECK(b.found_onset_s.has_value());  // confirmed by the can's own hiss
        CHECK(b.asked);
    }
    CHECK(sprays < 3 * static_cast<int>(spec.spots.size()));
    const auto lines = debrief(spec, practice_engines()[0].lesson, visit.record(), last);
    CHECK_THAT(lines.front(), Contains("Found: spot"));
}

TEST_CASE("plan: the same sound and marks give the same steps in replay, in other block lengths", "[visit][plan]") {
    auto& p = played();
    std::vector<RpmReading> readings;
    std::vector<HissBurst> heard;
    const double rate_hz = p.practised.bay().spec().engine.sample_rate_hz;
    LiveAnalysis again({.sample_rate_hz = rate_hz, .engine = p.practised.bay().spec().engine.engine},
                       {.reading = [&](const LiveReading& r) { readings.push_back(r.reading); },
                        .burst = [&](const HissBurst& b) { heard.push_back(b); },
                        .order_row = {}});
    const std::span<const float> sound{p.sound};
    for (std::size_t from = 0; from < sound.size(); from += 4097)
        again.process(sound.subspan(from, std::min<std::size_t>(4097, sound.size() - from)));
    again.finish();
    const auto& live = p.practised.guided();
    const auto marks = marks_of_visit(live.visit().record());
    REQUIRE(p.steps.size() > 5);
    for (const std::size_t at : {std::size_t{0}, p.steps.size() / 2, p.steps.size() - 1}) {
        const auto& [bursts, step] = p.steps[at];
        CAPTURE(bursts);
        auto record = visit_from_marks(std::span{marks.marks}.first(bursts), heard, live.settings().map, "marks");
        REQUIRE(record);
        const auto replayed = replay_plan(record.value(), live.visit().config(), readings, live.settings());
        CHECK(replayed.spots == step.spots);
        CHECK(replayed.sham == step.sham);
        CHECK(replayed.why == step.why);
        for (std::size_t s = 0; s < step.all.size(); ++s) {
            CHECK(replayed.all[s].decision == step.all[s].decision);
            CHECK(replayed.all[s].belief.leaks == step.all[s].belief.leaks);
        }
    }
}

TEST_CASE("marked_spots: one spot, a pass, a sham", "[visit]") {
    CHECK(marked_spots("7") == std::vector<std::string>{"7"});
    CHECK(marked_spots("7+8+9") == std::vector<std::string>{"7", "8", "9"});
    CHECK(marked_spots("sham").empty());
    const BayMap map{.name = "",
                     .picture = {},
                     .spots = {{.spot = "1", .name = "", .kind = {}, .x_mm = 0, .y_mm = 0, .cylinder = {}}}};
    const std::vector<Mark> wrong{{.time_s = 1.0, .spot = "1+2", .extra = {}, .line = 4}};
    const auto record = visit_from_marks(wrong, {}, map, "m.csv");
    REQUIRE_FALSE(record);
    CHECK_THAT(record.error().what, Contains("m.csv: line 4") && Contains("\"2\""));
}

TEST_CASE("guide_key: y and n answer cautions; digits name a spot; q stops", "[visit]") {
    SprayVisit visit(VisitConfig{.spots = {"1", "12"}});
    GuideKeys keys;
    for (const char key : std::string{" 1wrsu"}) guide_key(keys, key, visit, 5.0);  // nothing of this at the gate
    CHECK(visit.state().stage == VisitStage::gate);
    CHECK(visit.record().bursts.empty());
    guide_key(keys, 'n', visit, 5.0);
    CHECK(visit.cautions().answered(0) == false);
    for (std::size_t i = 0; i < kCautionPoints; ++i) guide_key(keys, 'y', visit, 5.0);
    CHECK(visit.state().stage == VisitStage::settling);
    guide_key(keys, '1', visit, 6.0);
    guide_key(keys, '2', visit, 6.0);
    guide_key(keys, ' ', visit, 7.0);
    REQUIRE(visit.record().bursts.size() == 1);
    CHECK(visit.record().bursts[0].spots == std::vector<std::string>{"12"});
    CHECK(keys.sprayed == std::vector<std::string>{"12"});
    guide_key(keys, 'q', visit, 8.0);
    CHECK(keys.wants_end);
    CHECK(visit.state().stage == VisitStage::stopped);
}

TEST_CASE("guide_lines: cautions first, any window size", "[visit]") {
    const auto spec = practice_engine(4, 1);
    VisitConfig config;
    for (const auto& s : spec.spots) config.spots.push_back(s.id);
    VisitPlanSettings settings;
    settings.map = practice_map(spec);
    GuidedVisit guided(SprayVisit(config), settings, false);
    for (const int columns : {1, 40, 80, 200})
        for (const int rows : {1, 10, 50})
            CHECK(guide_lines(guided, {}, {}, {.columns = columns, .rows = rows}, true).size() <=
                  static_cast<std::size_t>(rows));
    std::string all;
    for (const auto& line : guide_lines(guided, {}, {}, {.columns = 100, .rows = 40}, false)) all += line + "\n";
    CHECK_THAT(all, Contains("licensed technician come first") && Contains("hiss survey") &&
                        Contains(std::string{caution_points()[0].question}));
}

TEST_CASE("practice engines: ten of them, the truth placed by the seed", "[practice]") {
    CHECK(practice_engines().size() == 10);
    int tight = 0;
    for (const auto& e : practice_engines()) {
        CAPTURE(e.name);
        const auto a = practice_engine(e.number, 3);
        const auto b = practice_engine(e.number, 3);
        CHECK(a.leak_rpm == b.leak_rpm);
        CHECK(a.spots.size() == a.leak_rpm.size());
        tight += std::all_of(a.leak_rpm.begin(), a.leak_rpm.end(), [](double v) { return v == 0.0; });
        CHECK_NOTHROW(sim::LiveBay(a, 10.0).sound());
    }
    CHECK(tight == 2);
    CHECK(practice_engine(2, 3).leak_rpm != practice_engine(2, 4).leak_rpm);
    CHECK_THROWS(practice_engine(11, 1));
}

TEST_CASE("practice --engine --auto: the visit is told, the truth comes last, and the case can be replayed by plan",
          "[cli][practice]") {
    const ScratchFolder folder;
    const auto bay = folder.path("bay");
    const auto ran = run_idlehark("practice --engine 1 --seed 8 --auto --out " + bay);
    REQUIRE(ran.code == 0);
    CHECK_THAT(ran.out, Contains("Plover") && Contains("The truth:"));
    for (const char* name : {"/bay.flac", "/engine.json", "/map.json", "/marks.csv", "/truth.json"})
        CHECK(std::filesystem::exists(bay + name));
    const auto files = bay + "/bay.flac --engine " + bay + "/engine.json --map " + bay + "/map.json";
    const auto end = run_idlehark("plan " + files + " --marks " + bay + "/marks.csv --format json");
    REQUIRE(end.code == 0);
    CHECK(nlohmann::json::parse(end.out)["outcome"] == "decided");
    // A burst marked twice is one burst.
    const auto marks = read_marks(bay + "/marks.csv");
    REQUIRE(marks);
    std::string twice = "time_s,spot\n";
    for (const auto& m : marks.value().marks)
        twice += fmt::format("{},{}\n{},{}\n", m.time_s, m.spot, m.time_s + 0.3, m.spot);
    const auto again = run_idlehark("plan " + files + " --marks " + folder.file("twice.csv", twice) + " --format json");
    REQUIRE(again.code == 0);
    CHECK_THAT(again.err, Contains("counted once"));
    CHECK(nlohmann::json::parse(again.out)["all"] == nlohmann::json::parse(end.out)["all"]);
    // Without marks the next step is a spray, and that is only told behind the cautions.
    const auto shut = run_idlehark("plan " + files);
    CHECK(shut.code == 2);
    CHECK(shut.out.empty());
    CHECK_THAT(shut.err, Contains("extinguisher") && Contains("--cautions-answered"));
    const auto open = run_idlehark("plan " + files + " --cautions-answered");
    CHECK(open.code == 0);
    CHECK_THAT(open.out, Contains("Next:") && Contains("Why:"));
}

TEST_CASE("practice and listen --guide: wrong use is named", "[cli]") {
    CHECK(run_idlehark("practice").code == 2);
    CHECK(run_idlehark("practice --engine 11").code == 2);
    CHECK_THAT(run_idlehark("practice --list").out, Contains("Greenshank"));
    const auto no_terminal = run_idlehark("practice --engine 3");
    CHECK(no_terminal.code == 2);
    CHECK_THAT(no_terminal.err, Contains("--auto"));
    const auto no_map = run_idlehark("listen --guide --cylinders 4 --idle-rpm 700:950");
    CHECK(no_map.code == 2);
    CHECK_THAT(no_map.err, Contains("--map"));
}

TEST_CASE("GuideCase: a test is kept as it happens, and gone on with where it was left", "[cli][visit][casebook]") {
    auto& p = played();
    const auto& spec = p.practised.bay().spec();
    const ScratchFolder scratch;
    const auto folder = scratch.path("car");
    REQUIRE(Casebook::create(folder, "invented", spec.engine.engine, practice_map(spec)));
    const auto nothing = GuideCase::open(folder, true);
    REQUIRE_FALSE(nothing);
    CHECK_THAT(nothing.error().hint, Contains("--resume"));

    // The first half of the visit, broken off without a word: the recording is not closed.
    const auto& whole = p.practised.guided().visit().record();
    const double cut_s = whole.bursts.at(whole.bursts.size() / 2).time_s + 9.0;
    auto half = whole;
    half.ended.clear();
    half.decided.clear();
    half.clock_s = cut_s;
    std::erase_if(half.bursts, [&](const VisitBurst& b) { return b.time_s > cut_s; });
    {
        auto kept = GuideCase::open(folder, false);
        REQUIRE(kept);
        CHECK(kept.value().record().bursts.empty());
        const auto path = kept.value().begin_recording(1, "simulated");
        REQUIRE(path);
        RecordingSettings settings;
        settings.sample_rate_hz = spec.engine.sample_rate_hz;
        auto recorder = Recorder::create(path.value(), settings);
        REQUIRE(recorder);
        std::vector<std::int32_t> sound;
        for (const float x : std::span{p.sound}.first(static_cast<std::size_t>(cut_s * settings.sample_rate_hz)))
            sound.push_back(to_24_bits(x));
        REQUIRE(recorder.value().write(sound));
        half.recordings = {{std::filesystem::path{path.value()}.filename().string(), 0.0}};
        REQUIRE(kept.value().keep(half));
        REQUIRE(recorder.value().finish("torn"));
    }
    auto again = GuideCase::open(folder, true);
    REQUIRE(again);
    CHECK(again.value().record().bursts.size() == half.bursts.size());
    CHECK_THAT(again.value().message(), Contains("going on with visit"));
    CHECK(again.value().offset_s() > cut_s);
    REQUIRE_FALSE(again.value().earlier().empty());
    CHECK(again.value().earlier().back().time_s < again.value().offset_s());

    // What is planned next rests on the bursts before; the cautions are asked again.
    VisitConfig config;
    for (const auto& s : spec.spots) config.spots.push_back(s.id);
    VisitPlanSettings settings;
    settings.map = again.value().map();
    SprayVisit visit(config, again.value().record());
    CHECK(visit.state().stage == VisitStage::gate);
    CHECK(visit.state().bursts > 0);
    const auto step = plan_visit(visit.record(), config, again.value().earlier(), settings);
    int counted = 0;
    for (const auto& s : step.all) counted += s.bursts + s.passes;
    CHECK(counted >= visit.state().bursts);
    for (const auto& b : half.bursts)  // the first round goes on with spots that had none
        if (step.outcome == plan::PlanStep::Outcome::step && counted < static_cast<int>(spec.spots.size()) && !b.sham)
            CHECK(spec.spots.at(step.spots.front()).id != b.spots.front());

    // The second half: another recording, after a break of which nothing is known.
    const auto next = again.value().begin_recording(1, "simulated");
    REQUIRE(next);
    const auto second = std::filesystem::path{next.value()}.filename().string();
    CHECK(second != half.recordings[0].name);
    const auto marks = Casebook::open(folder, Casebook::Access::read).value().guided(1);
    REQUIRE(marks);
    CHECK(marks.value()->bursts.size() == half.bursts.size());
    RecordingSettings sound_settings;
    sound_settings.sample_rate_hz = spec.engine.sample_rate_hz;
    auto recorder = Recorder::create(next.value(), sound_settings);
    REQUIRE(recorder);
    std::vector<std::int32_t> sound;
    for (const float x : std::span{p.sound}.subspan(static_cast<std::size_t>(cut_s * spec.engine.sample_rate_hz)))
        sound.push_back(to_24_bits(x));
    REQUIRE(recorder.value().write(sound));
    REQUIRE(recorder.value().finish("stopped"));
    auto both = again.value().record();
    const double offset_s = again.value().offset_s();
    both.recordings.push_back({second, offset_s});
    for (auto b : whole.bursts)
        if (b.time_s > cut_s) {
            b.time_s += offset_s - cut_s;
            if (b.found_onset_s) *b.found_onset_s += offset_s - cut_s;
            both.bursts.push_back(b);
        }
    both.decided = whole.decided;
    both.clock_s = offset_s + 1000.0;
    REQUIRE(both.bursts.size() == whole.bursts.size());
    REQUIRE(again.value().finish(both));
    again.value().measure(settings);

    // One result, from all bursts, as if it had not been broken off.
    const auto book = Casebook::open(folder, Casebook::Access::read);
    REQUIRE(book);
    const auto report = report_of(book.value());
    REQUIRE(report);
    REQUIRE(report.value().visits.size() == 1);
    REQUIRE(report.value().visits[0].sprays.size() == 1);
    const auto& told = report.value().visits[0].sprays[0];
    CHECK(told.guided);
    CHECK(told.recording == half.recordings[0].name + ", " + second);
    CHECK(static_cast<int>(told.bursts.size()) == sprayed_bursts(whole));
    CHECK(told.length_s == Approx(offset_s + static_cast<double>(sound.size()) / 16000.0).margin(0.01));
    const auto& unbroken = *p.practised.guided().step();
    REQUIRE(told.spots.size() == unbroken.all.size());
    for (std::size_t s = 0; s < told.spots.size(); ++s) {
        CAPTURE(told.spots[s].spot);
        CHECK(told.spots[s].bursts == unbroken.all[s].bursts);
        CHECK((told.spots[s].verdict == SprayVerdict::leak) == (spec.leak_rpm[s] != 0.0));
        if (spec.leak_rpm[s] != 0.0)
            CHECK_THAT(told.spots[s].change_rpm, Catch::Matchers::WithinAbs(unbroken.all[s].change_rpm, 2.0));
    }
    // The speed of both is drawn, with nothing between them.
    const auto in_break = [&](double t) { return t > cut_s + 1.5 && t < offset_s; };
    CHECK(std::any_of(told.speed.begin(), told.speed.end(), [&](const auto& x) { return x.time_s > offset_s + 5.0; }));
    CHECK(std::none_of(told.speed.begin(), told.speed.end(), [&](const auto& x) { return in_break(x.time_s); }));
    CHECK(std::any_of(told.speed.begin(), told.speed.end(),
                      [&](const auto& x) { return x.time_s > cut_s && x.time_s < offset_s && !std::isfinite(x.rpm); }));
    // The window shows the same.
    const auto kept = kept_case(book.value());
    REQUIRE(kept);
    REQUIRE(kept.value()->visits.size() == 1);
    REQUIRE(kept.value()->visits[0].tests.size() == 1);
    CHECK(kept.value()->visits[0].tests[0].bursts.size() == told.bursts.size());
    const auto drawn = kept_trace(book.value(), 1);
    REQUIRE(drawn);
    CHECK(drawn.value().size() == told.speed.size());
    // All bursts of both are compared, without listening again.
    const auto compared = compare_request(book.value(), 1, 1, false);
    REQUIRE(compared);
    CHECK(static_cast<int>(compared.value().before.marks.size()) == sprayed_bursts(whole));
    REQUIRE(compared.value().heard_before);
    CHECK(compared.value().heard_before->bursts.size() == compared.value().before.marks.size());
    for (const auto& b : compared.value().heard_before->bursts) CHECK(b.found_onset_s.has_value());
    for (std::size_t s = 0; s < spec.spots.size(); ++s)
        if (spec.leak_rpm[s] != 0.0)
            CHECK(compared.value().heard_before->answering == std::vector<std::string>{spec.spots[s].id});
    // And all of it comes out the same once more, from the sound; the next step too.
    const auto checked = check_case(book.value(), CheckDepth::figures, {});
    REQUIRE(checked);
    CHECK(checked.value().faults.empty());
    CHECK(checked.value().differences.empty());
    // What is planned rests on the same bursts. The break may leave a spot just short of being ruled out, no more.
    const auto planned = run_idlehark("plan " + folder + " --cautions-answered --format json");
    INFO(planned.err);
    REQUIRE(planned.code == 0);
    const auto standing = nlohmann::json::parse(planned.out);
    for (std::size_t s = 0; s < told.spots.size(); ++s) {
        const auto& spot = standing["all"][s];
        CAPTURE(told.spots[s].spot);
        CHECK(spot["bursts"] == told.spots[s].bursts);
        CHECK((spot["standing"] == "leak") == (spec.leak_rpm[s] != 0.0));
        if (spec.leak_rpm[s] == 0.0) CHECK(spot["matters"] < 0.02);
    }
}

TEST_CASE("listen --guide --case: what does not go together is named", "[cli]") {
    const ScratchFolder scratch;
    const auto folder = scratch.path("car");
    REQUIRE(Casebook::create(folder, "invented", practice_engine(1, 1).engine.engine, {}));
    const auto how = "`idlehark case add " + folder + " map FILE`";
    CHECK_THAT(run_idlehark("listen --guide --case " + folder).err, Contains("no map") && Contains(how));
    CHECK_THAT(run_idlehark("plan " + folder).err, Contains("no map") && Contains(how));
    REQUIRE(write_map(scratch.path("map.json"), practice_map(practice_engine(1, 1))));
    const auto other = scratch.path("other");  // what it says works
    REQUIRE(Casebook::create(other, "invented", practice_engine(1, 1).engine.engine, {}));
    CHECK(run_idlehark("case add " + other + " map " + scratch.path("map.json")).code == 0);
    CHECK_THAT(run_idlehark("plan " + other).err, !Contains("no map"));
    CHECK_THAT(run_idlehark("listen --guide --case " + folder + " --map m.json").err, Contains("its own map"));
    CHECK_THAT(run_idlehark("listen --case " + folder).err, Contains("--guide"));
    CHECK_THAT(run_idlehark("listen --guide --resume --cylinders 4 --idle-rpm 700:950").err, Contains("--case"));
}

TEST_CASE("GuideCase: a recording that cannot begin leaves its name free", "[cli][casebook]") {
    const ScratchFolder scratch;
    const auto folder = scratch.path("car");
    const auto spec = practice_engine(1, 1);
    REQUIRE(Casebook::create(folder, "invented", spec.engine.engine, practice_map(spec)));
    auto kept = GuideCase::open(folder, false);
    REQUIRE(kept);
    const auto first = kept.value().begin_recording(1, "simulated");
    REQUIRE(first);
    kept.value().withdraw_recording();
    const auto second = kept.value().begin_recording(1, "simulated");
    REQUIRE(second);
    CHECK(second.value() == first.value());
    CHECK(Casebook::open(folder, Casebook::Access::read).value().recordings().value().size() == 1);
}
