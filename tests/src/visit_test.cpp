#include "src/visit/spray_visit.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

/// A visit with a steady engine that plays along; spots 1 to 5.
struct Bench {
    SprayVisit visit{VisitConfig{.spots = {"1", "2", "3", "4", "5"}}};
    double now_s = 0.0;
    double rpm = 800.0;
    bool locked = true;
    std::mt19937 random{11};

    void run(double seconds) {
        std::normal_distribution<double> unrest(0.0, 1.0);
        for (const double until_s = now_s + seconds; now_s < until_s; now_s += 0.1) {
            visit.time(now_s);
            visit.reading(now_s - 1.0, rpm + unrest(random), locked);
        }
    }
    bool run_until(VisitStage stage, double at_most_s = 120.0) {
        for (const double until_s = now_s + at_most_s; now_s < until_s && visit.state().stage != stage;) run(0.1);
        return visit.state().stage == stage;
    }
    void open_gate() {
        for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
    }
    static VisitPlan plan_for(std::vector<std::string> spots, bool sham = false) {
        VisitPlan plan;
        plan.spots = std::move(spots);
        plan.sham = sham;
        plan.why = "test";
        plan.at_most_more = 9;
        plan.smallest_provable_rpm = 7.0;
        return plan;
    }
    /// Up to the prompt for this spot.
    void prompt(const std::vector<std::string>& spots, bool sham = false) {
        if (visit.state().stage == VisitStage::gate) open_gate();
        REQUIRE(run_until(VisitStage::planning));
        REQUIRE(visit.take(plan_for(spots, sham)));
        REQUIRE(run_until(VisitStage::prompting));
    }
};

}  // namespace

TEST_CASE("SprayVisit: no way to a prompt but through every caution", "[visit]") {
    Bench b;
    SECTION("one point unanswered or answered no keeps it shut, whichever it is") {
        const std::size_t missing = GENERATE(range(std::size_t{0}, kCautionPoints));
        const bool refused = GENERATE(false, true);
        for (std::size_t i = 0; i < kCautionPoints; ++i)
            if (i != missing) b.visit.answer(i, true);
        if (refused) b.visit.answer(missing, false);
        b.run(60.0);
        b.visit.key(b.now_s, "1");
        b.visit.hiss(b.now_s, 1.0);
        b.visit.repeat();
        b.visit.skip();
        CHECK_FALSE(b.visit.take(Bench::plan_for({"1"})));
        b.run(60.0);
        const auto state = b.visit.state();
        CHECK(state.stage == VisitStage::gate);
        CHECK(state.prompt == 0);
        const auto& point = caution_points()[missing];
        CHECK(state.next_step == (refused ? point.if_no : point.question));
    }
    SECTION("an answer taken back withdraws the prompt") {
        b.prompt({"3"});
        const auto said = b.visit.state().prompt;
        b.visit.answer(1, false);
        CHECK(b.visit.state().stage == VisitStage::gate);
        CHECK(b.visit.state().prompt == said + 1);
        CHECK(b.visit.state().spoken == "Wait. Do not spray.");
        b.visit.answer(1, true);
        CHECK(b.visit.state().stage != VisitStage::prompting);
    }
    SECTION("a test that is over and goes on after all goes through it") {
        const int way = GENERATE(0, 1, 2);
        b.prompt({"3"});
        b.visit.key(b.now_s);
        REQUIRE(b.run_until(VisitStage::planning));
        VisitPlan end;
        end.outcome = VisitPlan::Outcome::decided;
        REQUIRE(b.visit.take(end));
        REQUIRE(b.visit.state().stage == VisitStage::done);
        b.visit.answer(2, false);
        CHECK(b.visit.state().stage == VisitStage::done);
        if (way == 0) b.visit.key(b.now_s, "4");
        if (way == 1) b.visit.undo();
        if (way == 2) {
            b.visit.hiss(b.now_s + 1.0, 1.0);
            b.visit.wrong_spot("2");
        }
        b.run(60.0);
        CHECK_FALSE(b.visit.take(Bench::plan_for({"1"})));
        CHECK(b.visit.state().stage == VisitStage::gate);
        b.visit.answer(2, true);
        CHECK(b.visit.state().stage != VisitStage::prompting);
        CHECK(b.run_until(VisitStage::planning));
    }
    SECTION("random events never prompt without it") {
        std::mt19937 random{5};
        for (int i = 0; i < 3000; ++i) {
            switch (random() % 9) {
                case 0:
                    b.visit.key(b.now_s, random() % 2 ? "2" : "");
                    break;
                case 1:
                    b.visit.hiss(b.now_s - 8.0, 1.0);
                    break;
                case 2:
                    b.visit.repeat();
                    break;
                case 3:
                    b.visit.skip();
                    break;
                case 4:
                    b.visit.undo();
                    break;
                case 5:
                    b.visit.wrong_spot("4");
                    break;
                case 6:
                    b.visit.take(Bench::plan_for({"1"}));
                    break;
                case 7:
                    b.visit.answer(random() % kCautionPoints, random() % 4 != 0);
                    break;
                default:
                    b.run(3.0);
            }
            const bool open = b.visit.cautions().open();
            REQUIRE((open || b.visit.state().stage != VisitStage::prompting));
        }
    }
}

TEST_CASE("SprayVisit: a pause withdraws the prompt and asks for nothing, while the engine goes on being heard",
          "[visit]") {
    Bench b;
    b.prompt({"3"});
    const auto said = b.visit.state().prompt;
    b.visit.pause(true);
    CHECK(b.visit.state().stage == VisitStage::waiting);
    CHECK(b.visit.state().spoken == "Wait. Do not spray.");
    CHECK(b.visit.state().prompt == said + 1);
    CHECK(b.visit.state().waits.front() == VisitWait::by_hand);
    const double before_s = b.visit.now_s();
    b.run(120.0);
    CHECK(b.visit.now_s() > before_s + 100.0);
    CHECK(b.visit.state().stage == VisitStage::waiting);
    CHECK(b.visit.state().prompt == said + 1);
    // What is sprayed all the same is evidence.
    b.visit.key(b.now_s, "2");
    CHECK(b.visit.bursts_on("2") == 1);
    b.visit.undo();
    b.visit.pause(false);
    REQUIRE(b.run_until(VisitStage::planning));
    REQUIRE(b.visit.take(Bench::plan_for({"3"})));
    REQUIRE(b.run_until(VisitStage::prompting));
    CHECK(b.visit.state().spoken.find("Now") != std::string::npos);
}

TEST_CASE("SprayVisit: a pause while nothing is out holds the next prompt back", "[visit]") {
    Bench b;
    b.prompt({"3"});
    b.visit.key(b.now_s);
    b.visit.pause(true);
    REQUIRE(b.run_until(VisitStage::planning));
    REQUIRE(b.visit.take(Bench::plan_for({"1"})));
    b.run(90.0);
    CHECK(b.visit.state().stage == VisitStage::waiting);
    b.visit.pause(false);
    REQUIRE(b.run_until(VisitStage::prompting));
}

TEST_CASE("SprayVisit: settles, prompts, hears the burst, waits for the answer and the recovery", "[visit]") {
    Bench b;
    b.open_gate();
    CHECK(b.visit.state().stage == VisitStage::settling);
    b.run(20.0);
    CHECK(b.visit.state().stage == VisitStage::settling);
    CHECK(b.visit.state().settled > 0.5);
    b.prompt({"3"});
    CHECK(b.visit.state().baseline_rpm == Approx(800.0).margin(1.0));
    CHECK(b.visit.state().smallest_provable_rpm == 7.0);
    CHECK(b.visit.state().spoken == "Spot 3. Now.");
    CHECK(b.visit.state().next_step == "Spray spot 3 now, one short burst.");
    const double onset_s = b.now_s + 1.0;
    b.run(9.0);  // found by ear, as late as the finder is
    b.visit.hiss(onset_s, 1.1);
    REQUIRE(b.visit.record().bursts.size() == 1);
    const auto& burst = b.visit.record().bursts.front();
    CHECK(burst.spots == std::vector<std::string>{"3"});
    CHECK(burst.time_s == onset_s);
    CHECK(burst.asked);
    CHECK(b.visit.state().stage == VisitStage::answering);
    REQUIRE(b.run_until(VisitStage::planning));
    CHECK(b.now_s == Approx(onset_s + 10.0).margin(0.3));
    REQUIRE(b.visit.take(Bench::plan_for({"3"})));
    REQUIRE(b.run_until(VisitStage::prompting));
    CHECK(b.now_s == Approx(onset_s + 30.0).margin(0.3));  // drying: the same spot
}

TEST_CASE("SprayVisit: waits with the reason while the idle does not allow a burst", "[visit]") {
    Bench b;
    SECTION("lock lost before the prompt, and in it") {
        b.prompt({"3"});
        b.locked = false;
        b.run(6.0);
        CHECK(b.visit.state().stage == VisitStage::waiting);
        CHECK(b.visit.state().waits.front() == VisitWait::lock_lost);
        CHECK(b.visit.state().spoken == "Wait. Do not spray.");
        b.locked = true;
        b.run(3.0);
        CHECK(b.visit.state().waits.front() == VisitWait::signal_gap);
        CHECK(b.run_until(VisitStage::prompting, 20.0));
    }
    SECTION("whoever had sprayed already when it was withdrawn is still heard") {
        b.prompt({"3"});
        const double onset_s = b.now_s + 4.0;
        b.locked = false;
        b.run(12.0);
        REQUIRE(b.visit.state().stage == VisitStage::waiting);
        b.visit.hiss(onset_s, 1.0);
        CHECK(b.visit.bursts_on("3") == 1);
    }
    SECTION("and so is the key, so long as hands follow; not later, and not for a sham") {
        const bool sham = GENERATE(false, true);
        const double late_s = GENERATE(1.0, 5.0);
        b.prompt({"3"}, sham);
        b.visit.pause(true);
        b.run(late_s);
        b.visit.key(b.now_s);
        CHECK(b.visit.bursts_on("3") == (late_s < 2.0 && !sham ? 1 : 0));
        CHECK(b.visit.record().bursts.size() == (late_s < 2.0 && !sham ? 1U : 0U));
    }
    SECTION("spray found late is not taken for that of the next step") {
        b.prompt({"3"});
        b.visit.pause(true);
        const double onset_s = b.now_s + 1.0;
        b.run(2.0);
        b.visit.skip();
        b.visit.pause(false);
        REQUIRE(b.visit.take(Bench::plan_for({"4"})));
        b.visit.hiss(onset_s, 1.0);
        CHECK(b.visit.record().bursts.empty());
        CHECK_THAT(b.visit.state().notice, Catch::Matchers::Contains("unasked"));
    }
    SECTION("nor for that of a visit that is over") {
        b.prompt({"3"});
        const double onset_s = b.now_s + 1.0;
        b.run(1.5);
        b.visit.pause(true);
        b.visit.skip();
        VisitPlan end;
        end.outcome = VisitPlan::Outcome::decided;
        REQUIRE(b.visit.take(end));
        b.visit.key(b.now_s);
        b.run(7.0);
        b.visit.hiss(onset_s, 1.0);
        CHECK(b.visit.record().bursts.empty());
    }
    SECTION("spray between two prompts for one spot was not asked for") {
        b.prompt({"3"});
        b.visit.pause(true);
        b.run(60.0);
        const double onset_s = b.now_s;
        b.run(3.0);
        b.visit.pause(false);
        CHECK(b.visit.state().stage == VisitStage::prompting);
        b.run(4.0);
        b.visit.hiss(onset_s, 1.0);
        CHECK(b.visit.record().bursts.empty());
        CHECK(b.visit.state().stage == VisitStage::waiting);  // nor may it be repeated at once
    }
    SECTION("spray a moment before the prompt is said again follows it") {
        b.prompt({"3"});
        b.run(44.0);
        const double onset_s = b.now_s;
        b.run(8.0);
        CHECK(b.visit.state().stage == VisitStage::prompting);
        b.visit.hiss(onset_s, 1.0);
        CHECK(b.visit.bursts_on("3") == 1);
    }
    SECTION("away from the baseline, until it is back or has been steady for long") {
        b.prompt({"3"});
        b.visit.key(b.now_s);
        const double sprayed_s = b.now_s;
        b.rpm = 830.0;
        REQUIRE(b.run_until(VisitStage::planning));
        REQUIRE(b.visit.take(Bench::plan_for({"4"})));
        b.run(8.0);
        CHECK(b.visit.state().stage == VisitStage::waiting);
        CHECK(b.visit.state().waits.front() == VisitWait::not_at_baseline);
        SECTION("back") {
            b.rpm = 800.0;
            REQUIRE(b.run_until(VisitStage::prompting));
            CHECK(b.now_s < sprayed_s + 27.0);
        }
        SECTION("a fan holds it there") {
            REQUIRE(b.run_until(VisitStage::prompting));
            CHECK(b.now_s > sprayed_s + 30.0);
            CHECK(b.visit.state().baseline_rpm > 820.0);
        }
    }
    SECTION("a gap") {
        b.prompt({"3"});
        b.visit.key(b.now_s);
        b.run(4.0);
        b.visit.gap(b.now_s);
        CHECK(b.visit.record().bursts.front().near_gap);
        REQUIRE(b.run_until(VisitStage::planning));
        REQUIRE(b.visit.take(Bench::plan_for({"4"})));
        CHECK(b.run_until(VisitStage::prompting));
    }
}

TEST_CASE("SprayVisit: corrections keep everything", "[visit]") {
    Bench b;
    b.prompt({"3"});
    SECTION("a key, and the hiss that sharpens it") {
        const double time_s = b.now_s;
        b.visit.key(time_s);
        b.run(8.0);
        b.visit.hiss(time_s + 0.4, 1.0);
        REQUIRE(b.visit.record().bursts.size() == 1);
        CHECK(b.visit.record().bursts[0].found_onset_s == time_s + 0.4);
        CHECK(b.visit.record().bursts[0].by_key);
    }
    SECTION("wrong spot") {
        b.visit.key(b.now_s);
        b.visit.wrong_spot("5");
        CHECK(b.visit.bursts_on("3") == 0);
        CHECK(b.visit.bursts_on("5") == 1);
        CHECK_FALSE(b.visit.record().bursts[0].asked);
        b.visit.wrong_spot("77");
        CHECK(b.visit.bursts_on("5") == 1);
        CHECK_THAT(b.visit.state().notice, Catch::Matchers::Contains("77"));
    }
    SECTION("another spot than asked, said at once") {
        b.visit.key(b.now_s, "1");
        CHECK(b.visit.bursts_on("1") == 1);
        CHECK(b.visit.bursts_on("3") == 0);
        CHECK(b.visit.state().stage == VisitStage::answering);
    }
    SECTION("undo") {
        b.visit.key(b.now_s);
        b.visit.undo();
        CHECK(b.visit.bursts_on("3") == 0);
        REQUIRE(b.visit.record().bursts.size() == 1);
        CHECK(b.visit.record().bursts[0].undone);
        b.visit.undo();
        CHECK(b.visit.record().bursts.size() == 1);
    }
    SECTION("a hiss that nobody asked for becomes a burst when its spot is named") {
        b.visit.key(b.now_s);
        b.run(20.0);
        const double onset_s = b.now_s - 9.0;
        b.visit.hiss(onset_s, 0.8);
        CHECK(b.visit.record().bursts.size() == 1);
        b.visit.wrong_spot("2");
        REQUIRE(b.visit.record().bursts.size() == 2);
        CHECK(b.visit.bursts_on("2") == 1);
        CHECK(b.visit.bursts_on("3") == 1);
        CHECK(b.visit.record().bursts[1].time_s == onset_s);
    }
    SECTION("a spot named for it then is that hiss, though a burst came after it") {
        const double onset_s = b.now_s - 3.0;
        b.visit.key(b.now_s + 0.5);
        b.run(5.0);
        b.visit.hiss(onset_s, 1.0);
        b.visit.wrong_spot("5");
        CHECK(b.visit.bursts_on("3") == 1);
        CHECK(b.visit.bursts_on("5") == 1);
    }
    SECTION("a key long before or after the spray is the same burst") {
        b.run(6.0);
        const double key_s = b.now_s;
        b.visit.key(key_s);
        b.run(8.0);
        const double onset_s = key_s + GENERATE(2.0, 4.5, -4.0);
        b.visit.hiss(onset_s, 1.0);
        REQUIRE(b.visit.record().bursts.size() == 1);
        CHECK(b.visit.record().bursts[0].found_onset_s == onset_s);
    }
    SECTION("what was decided by a burst that was undone or moved is open again, as if it had never been planned for") {
        b.visit.key(b.now_s);
        REQUIRE(b.run_until(VisitStage::planning));
        auto plan = Bench::plan_for({"1"});
        plan.decided = {"2"};
        REQUIRE(b.visit.take(plan));
        b.visit.key(b.now_s, "4");
        REQUIRE(b.run_until(VisitStage::planning));
        plan.decided = {"2", "3", "4"};
        REQUIRE(b.visit.take(plan));
        SECTION("undone") { b.visit.undo(); }
        SECTION("moved") { b.visit.wrong_spot("5"); }
        CHECK(b.visit.record().decided == std::vector<std::string>{"2"});
    }
    SECTION("skip, and twice is left out") {
        b.visit.skip();
        CHECK(b.visit.wants_plan());
        REQUIRE(b.visit.take(Bench::plan_for({"3"})));
        REQUIRE(b.run_until(VisitStage::prompting));
        b.visit.skip();
        CHECK(b.visit.left_out("3"));
        CHECK_FALSE(b.visit.take(Bench::plan_for({"3"})));
        CHECK(b.visit.take(Bench::plan_for({"4"})));
    }
    SECTION("once more, whenever it is asked, is the next step") {
        b.visit.key(b.now_s);
        const double sprayed_s = b.now_s;
        const auto when = GENERATE(VisitStage::answering, VisitStage::planning, VisitStage::waiting);
        REQUIRE(b.run_until(when == VisitStage::answering ? when : VisitStage::planning));
        auto plan = Bench::plan_for({"4"});
        if (when == VisitStage::waiting) REQUIRE(b.visit.take(plan));
        b.visit.repeat();
        REQUIRE(b.run_until(when == VisitStage::waiting ? when : VisitStage::planning));
        SECTION("of its spot") {
            if (when != VisitStage::waiting) REQUIRE(b.visit.take(plan));
            REQUIRE(b.run_until(VisitStage::prompting));
            CHECK(b.visit.state().asked == std::vector<std::string>{"3"});
            CHECK(b.now_s >= sprayed_s + 30.0);  // drying
            b.visit.key(b.now_s);
            REQUIRE(b.run_until(VisitStage::planning));
            REQUIRE(b.visit.take(plan));
            CHECK(b.visit.state().asked == std::vector<std::string>{"4"});
        }
        SECTION("unless the plan decides it") {
            if (when == VisitStage::waiting) return;
            plan.decided = {"3"};
            REQUIRE(b.visit.take(plan));
            CHECK(b.visit.state().asked == std::vector<std::string>{"4"});
        }
    }
    SECTION("stop is for good") {
        b.visit.stop();
        b.run(10.0);
        b.visit.key(b.now_s);
        b.visit.repeat();
        b.visit.answer(0, true);
        CHECK(b.visit.state().stage == VisitStage::stopped);
        CHECK(b.visit.record().bursts.empty());
    }
}

TEST_CASE("SprayVisit: shams need no spray, and spray in one is a burst", "[visit]") {
    Bench b;
    b.prompt({"3"}, true);
    CHECK(b.visit.state().spoken == "Spot 3. Aim only, do not spray.");
    REQUIRE(b.run_until(VisitStage::answering, 10.0));
    REQUIRE(b.visit.record().bursts.size() == 1);
    CHECK(b.visit.record().bursts[0].sham);
    CHECK(b.visit.bursts_on("3") == 0);
    const double onset_s = b.visit.record().bursts[0].time_s - 1.0;
    b.run(7.0);
    b.visit.hiss(onset_s, 1.0);
    CHECK(b.visit.bursts_on("3") == 1);
    CHECK(b.visit.record().bursts[0].undone);
}

TEST_CASE("SprayVisit: the limits are its own", "[visit]") {
    VisitConfig config{.spots = {"1", "2", "3"}};
    config.most_per_spot = 2;
    config.most_per_visit = 3;
    Bench b{.visit = SprayVisit(config)};
    for (const char* spot : {"1", "1"}) {
        b.prompt({spot});
        b.visit.key(b.now_s);
    }
    REQUIRE(b.run_until(VisitStage::planning));
    CHECK_FALSE(b.visit.take(Bench::plan_for({"1"})));
    CHECK_FALSE(b.visit.take(Bench::plan_for({"2", "1"})));
    CHECK_FALSE(b.visit.take(Bench::plan_for({"9"})));
    auto decided = Bench::plan_for({"2"});
    decided.decided = {"2"};
    CHECK_FALSE(b.visit.take(decided));
    b.prompt({"3"});
    b.visit.key(b.now_s);
    REQUIRE(b.run_until(VisitStage::planning));
    CHECK_FALSE(b.visit.take(Bench::plan_for({"3"})));
    VisitPlan end;
    end.outcome = VisitPlan::Outcome::out_of_limits;
    end.why = "the visit's bursts are used up";
    CHECK(b.visit.take(end));
    CHECK(b.visit.state().stage == VisitStage::done);
    CHECK_THAT(b.visit.state().next_step, Catch::Matchers::Contains("used up"));
}

TEST_CASE("SprayVisit: a prompt is withdrawn where a burst turns out to have gone to its spot, the last it may have",
          "[visit]") {
    VisitConfig config{.spots = {"1", "2"}};
    config.most_per_spot = 2;
    Bench b{.visit = SprayVisit(config)};
    for (const char* spot : {"1", "2"}) {
        b.prompt({spot});
        b.visit.key(b.now_s);
    }
    b.prompt({"1"});
    const auto prompt = b.visit.state().prompt;
    b.visit.wrong_spot("1");  // the burst on 2 had gone there
    CHECK(b.visit.bursts_on("1") == 2);
    const auto state = b.visit.state();
    CHECK(state.stage == VisitStage::planning);
    CHECK(state.prompt == prompt + 1);
    CHECK(state.spoken == "Wait. Do not spray.");
    CHECK_THAT(state.notice, Catch::Matchers::Contains("the most that one spot gets"));
}

TEST_CASE("SprayVisit: a prompt does not stand where spray turns out to be too recent", "[visit]") {
    Bench b;
    SECTION("the last burst went to the spot that is asked for now: it must dry") {
        b.prompt({"3"});
        b.visit.key(b.now_s);
        b.prompt({"4"});
        b.visit.wrong_spot("4");
    }
    SECTION("a can was heard a moment before the prompt") {
        b.prompt({"3"});
        b.visit.hiss(b.now_s - 5.0, 1.0);
    }
    SECTION("it was sprayed elsewhere") {
        b.prompt({"3"});
        b.visit.key(b.now_s, "4");
    }
    CHECK(b.visit.state().stage != VisitStage::prompting);
    CHECK(b.visit.state().spoken == "Wait. Do not spray.");
}

TEST_CASE("SprayVisit: leaving a finished visit keeps what it came to", "[visit]") {
    Bench b;
    b.open_gate();
    REQUIRE(b.run_until(VisitStage::planning));
    VisitPlan end;
    end.outcome = VisitPlan::Outcome::decided;
    end.why = "no leak is proven, and every other spot is decided.";
    REQUIRE(b.visit.take(end));
    b.visit.stop();
    CHECK(b.visit.state().stage == VisitStage::stopped);
    CHECK(b.visit.record().ended == end.why);
}

TEST_CASE("SprayVisit: resumes with its bursts and decisions, and asks the cautions again", "[visit]") {
    Bench b;
    b.prompt({"3"});
    b.visit.key(b.now_s);
    REQUIRE(b.run_until(VisitStage::planning));
    auto plan = Bench::plan_for({"4"});
    plan.decided = {"3"};
    REQUIRE(b.visit.take(plan));
    const auto kept = b.visit.record();
    Bench later{.visit = SprayVisit(b.visit.config(), kept), .now_s = kept.clock_s};
    CHECK(later.visit.state().stage == VisitStage::gate);
    CHECK(later.visit.bursts_on("3") == 1);
    CHECK(later.visit.forbidden("3"));
    later.visit.begin_recording("bay-part2.flac", kept.clock_s + 60.0);
    later.now_s = kept.clock_s + 60.0;
    CHECK_FALSE(later.visit.cautions().open());
    later.prompt({"4"});
    CHECK(later.visit.record().cautions.size() == 2 * kCautionPoints);
}
