#include "dsp/plan/planner.hpp"
#include "dsp/plan/targets.hpp"
#include "dsp/sim/live_bay.hpp"
#include "tests/dsp/evidence_traces.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <set>

#include <catch2/catch.hpp>

using namespace idlehark;
using namespace idlehark::plan;

namespace {

std::vector<double> even_grid() {
    std::vector<double> grid;
    for (int v = -160; v <= 160; ++v) grid.push_back(v);
    return grid;
}

/// Log odds of each change against none, of a measurement with a normal error.
std::vector<double> measured(const std::vector<double>& grid, double at_rpm, double sd_rpm) {
    std::vector<double> curve;
    for (const double v : grid)
        curve.push_back((at_rpm * at_rpm - (v - at_rpm) * (v - at_rpm)) / (2.0 * sd_rpm * sd_rpm));
    return curve;
}

std::vector<PlannedSpot> row_of(std::size_t n, double apart_mm) {
    std::vector<PlannedSpot> spots;
    for (std::size_t i = 0; i < n; ++i)
        spots.push_back({.id = std::to_string(i + 1), .place = Place{apart_mm * static_cast<double>(i), 0.0}});
    return spots;
}

constexpr double kBreak_s = 60.0;

/// A bay that answers the planner, on the true speed.
struct Visit {
    sim::LiveBay bay;
    std::vector<PlannedSpot> spots;
    std::vector<PlannedBurst> bursts;
    PlanConfig config;
    double now_s;
    /// The recording breaks off here and is gone on with a minute later, when the idle is another.
    double break_s = std::numeric_limits<double>::infinity();
    double after_rpm = 0.0;

    explicit Visit(const sim::SessionSpec& spec) : bay(spec, 1500.0), now_s(spec.quiet_start_s) {
        for (const auto& s : spec.spots) spots.push_back({.id = s.id, .place = Place{s.x_mm, s.y_mm}});
    }
    [[nodiscard]] PlanStep next() {
        std::vector<RpmReading> readings;
        for (double t = 0.3; t < now_s; t += 0.1) {
            const bool after = t > break_s;
            const double rpm = bay.path().mean_rpm(t - 0.15, t + 0.15) + (after ? after_rpm : 0.0);
            readings.push_back({after ? t + kBreak_s : t, rpm, rpm - 0.1, rpm + 0.1, true});
        }
        auto told = bursts;
        for (auto& b : told)
            if (b.time_s > break_s) {
                b.time_s += kBreak_s;
                if (b.found_onset_s) *b.found_onset_s += kBreak_s;
            }
        return plan_next(readings, told, spots, config);
    }
    void spray(const std::vector<std::size_t>& where, bool sham) {
        now_s += 2.0;
        if (!sham) bay.spray(now_s, where, where.size() > 1 ? 2.0 : 1.0);
        PlannedBurst b{.time_s = now_s, .spots = where, .sham = sham, .found_onset_s = {}, .found_duration_s = {}};
        if (!sham) b.found_onset_s = now_s;
        bursts.push_back(b);
        now_s += 14.0;
    }
    /// Follows every step to the end.
    PlanStep run() {
        for (;;) {
            const auto step = next();
            if (step.outcome != PlanStep::Outcome::step) return step;
            for (std::size_t s = 0; s < spots.size(); ++s) spots[s].decided = settled(step.all[s].decision);
            for (const std::size_t s : step.spots) REQUIRE_FALSE(spots[s].decided);
            spray(step.spots, step.sham);
        }
    }
};

sim::SessionSpec small_bay(std::uint64_t seed, const std::vector<double>& leaks) {
    auto spec = sim::plain_session(seed, leaks, 8, 16000.0);
    spec.idle.hunting_rpm = 2.0;
    return spec;
}

constexpr double kMatters_rpm = 15.0;

/// What `believe` samples, as the sum over all combinations of three spots' changes and the drift.
std::vector<SpotBelief> summed_up(const std::vector<double>& priors, const std::vector<Look>& looks) {
    std::vector<double> values{0.0}, mass{1.0};
    double total = 0.0;
    for (int step = -3; step <= 7; ++step)  // from 4.4 to 256 rpm
        for (const double sign : {-1.0, 1.0}) {
            values.push_back(sign * kMatters_rpm * std::pow(1.5, step));
            const double u = values.back() / 12.0;
            mass.push_back(std::abs(u) / (1.0 + u * u));
            if (std::abs(values.back()) <= 80.0) total += mass.back();
        }
    const auto between = [](const Look& l, double v) {
        const double x = std::clamp(v + 160.0, 0.0, 319.999);
        const auto i = static_cast<std::size_t>(x);
        return l.log_curve[i] + (x - static_cast<double>(i)) * (l.log_curve[i + 1] - l.log_curve[i]);
    };
    std::vector<SpotBelief> out(3);
    double all = 0.0;
    const std::array<std::array<double, 2>, 5> drifts{{{0.0, 0.25}, {0.1, 0.15}, {0.2, 0.25}, {0.3, 0.25}, {0.4, 0.1}}};
    for (const auto& [drift, drift_prior] : drifts)
        for (std::size_t a = 0; a < values.size(); ++a)
            for (std::size_t b = 0; b < values.size(); ++b)
                for (std::size_t c = 0; c < values.size(); ++c) {
                    const std::array<std::size_t, 3> v{a, b, c};
                    double p = drift_prior;
                    for (std::size_t s = 0; s < 3; ++s)
                        p *= v[s] == 0 ? 1.0 - priors[s] : priors[s] * mass[v[s]] / total;
                    for (const auto& look : looks) {
                        double rpm = 0.0;
                        for (const auto& [spot, share] : look.shares) rpm += share * values[v[spot]];
                        for (const auto& [spot, near] : look.drift) rpm += drift * near * values[v[spot]];
                        p *= std::exp(between(look, rpm));
                    }
                    all += p;
                    for (std::size_t s = 0; s < 3; ++s) {
                        out[s].leaks += v[s] != 0 ? p : 0.0;
                        out[s].matters += std::abs(values[v[s]]) >= kMatters_rpm ? p : 0.0;
                    }
                }
    for (auto& s : out) s.leaks /= all, s.matters /= all;
    return out;
}

/// `margin`: what so many samples scatter by.
void check_beliefs(const std::vector<double>& priors, const std::vector<Look>& looks, int sweeps, double margin) {
    const auto exact = summed_up(priors, looks);
    for (const std::uint64_t seed : {3U, 4U, 5U}) {
        const auto belief = believe(priors, looks, even_grid(), kMatters_rpm, seed, sweeps);
        for (std::size_t s = 0; s < 3; ++s) {
            CAPTURE(seed, s);
            CHECK(belief[s].leaks == Approx(exact[s].leaks).margin(margin));
            CHECK(belief[s].matters == Approx(exact[s].matters).margin(margin));
        }
    }
}

}  // namespace

TEST_CASE("believe: agrees with the sum over all combinations", "[dsp][plan]") {
    const auto grid = even_grid();
    // Two passes that share the middle spot, and one spot alone: no drift.
    std::vector<Look> looks(3);
    looks[0] = {{{0, 0.6}, {1, 0.6}}, {}, measured(grid, 9.0, 3.0)};
    looks[1] = {{{1, 0.6}, {2, 0.6}}, {}, measured(grid, 4.0, 3.0)};
    looks[2] = {{{2, 1.0}}, {}, measured(grid, -1.0, 4.0)};
    check_beliefs({0.1, 0.2, 0.05}, looks, 20000, 0.02);
}

TEST_CASE("believe: a pass's spots get one another's drift, and its look counts once", "[dsp][plan]") {
    const auto grid = even_grid();
    std::vector<Look> looks(2);
    looks[0] = {{{0, 0.6}, {1, 0.6}}, {{0, 0.5}, {1, 0.5}, {2, 0.4}}, measured(grid, 6.0, 4.0)};
    looks[1] = {{{2, 1.0}}, {{0, 0.3}, {1, 0.7}}, measured(grid, 3.0, 4.0)};
    check_beliefs({0.1, 0.2, 0.05}, looks, 20000, 0.02);
}

TEST_CASE("believe: two leaks side by side are not put down to a neighbour that does not answer", "[dsp][plan]") {
    const auto grid = even_grid();
    for (const double missed : {1e-6, 1e-3, 0.1}) {  // chance that all of the neighbour's spray missed
        std::vector<Look> looks(3);
        looks[0] = {{{0, 1.0}}, {{1, 0.8}, {2, 0.5}}, measured(grid, 0.0, 3.0)};
        for (double& v : looks[0].log_curve) v = std::log((1.0 - missed) * std::exp(v) + missed);
        looks[1] = {{{1, 1.0}}, {{0, 0.8}, {2, 0.8}}, measured(grid, 23.0, 3.0)};
        looks[2] = {{{2, 1.0}}, {{0, 0.5}, {1, 0.8}}, measured(grid, 16.0, 3.0)};
        CAPTURE(missed);
        // The last lies on the edge: two explanations of the same weight, between which the samples have to go.
        check_beliefs({0.08, 0.08, 0.08}, looks, missed < 0.01 ? 12000 : 120000, 0.03);
    }
}

TEST_CASE("cover: every spot once, neighbours together, never farther apart than a pass reaches", "[dsp][plan]") {
    const auto spots = row_of(11, 50.0);
    PlanConfig config;
    std::vector<bool> from(spots.size(), true);
    from[4] = false;
    std::set<std::size_t> seen;
    const auto targets = cover(spots, from, config);
    CHECK(targets.size() <= 5);
    for (const auto& t : targets) {
        CHECK(t.size() <= config.most_in_pass);
        for (const std::size_t s : t) {
            CHECK(seen.insert(s).second);
            for (const std::size_t o : t) CHECK(distance_mm(spots[s], spots[o]) <= config.pass_reach_mm);
        }
    }
    CHECK(seen.size() == 10);
    config.passes = false;
    CHECK(cover(spots, from, config).size() == 10);
    for (const auto& pass : possible_passes(spots, from, PlanConfig{}))
        CHECK(std::find(pass.begin(), pass.end(), 4U) == pass.end());
}

TEST_CASE("plan_next: a tight bay is decided with few bursts, a leak is proven on its own bursts", "[dsp][plan]") {
    SECTION("tight") {
        Visit visit(small_bay(41, {}));
        const auto end = visit.run();
        CHECK(end.outcome == PlanStep::Outcome::decided);
        for (const auto& s : end.all) CHECK(s.decision == SpotDecision::none);
        CHECK(visit.bursts.size() <= 14);
        CHECK(end.spots.empty());
    }
    SECTION("one leak, either sign") {
        const double change_rpm = GENERATE(20.0, -20.0);
        const auto spec = small_bay(42, {change_rpm});
        Visit visit(spec);
        const auto end = visit.run();
        for (std::size_t s = 0; s < end.all.size(); ++s) {
            CAPTURE(s, end.all[s].why);
            if (spec.leak_rpm[s] != 0.0) {
                CHECK(end.all[s].decision == SpotDecision::leak);
                CHECK(end.all[s].bursts >= 2);
                CHECK(end.all[s].low_rpm <= change_rpm);
                CHECK(end.all[s].high_rpm >= change_rpm);
            } else {
                CHECK(end.all[s].decision != SpotDecision::leak);
            }
        }
    }
}

TEST_CASE("plan_next: the first round goes over every spot once, in pairs of neighbours on a large map",
          "[dsp][plan]") {
    const auto count = GENERATE(23U, 24U, 31U);
    const bool passes = GENERATE(true, false);
    const auto spots = row_of(count, 60.0);
    PlanConfig config;
    config.passes = passes;
    config.bursts_per_sham = 0;
    std::vector<PlannedBurst> bursts;
    std::set<std::size_t> seen;
    while (seen.size() < count) {
        const auto step = plan_next({}, bursts, spots, config);
        REQUIRE(step.outcome == PlanStep::Outcome::step);
        REQUIRE_FALSE(step.spots.empty());
        CHECK(step.spots.size() <= (passes && count >= 24 ? 2U : 1U));
        if (step.spots.size() == 2) CHECK(distance_mm(spots[step.spots[0]], spots[step.spots[1]]) <= 120.0);
        for (const std::size_t s : step.spots) CHECK(seen.insert(s).second);
        bursts.push_back({.time_s = 30.0 + 14.0 * static_cast<double>(bursts.size()),
                          .spots = step.spots,
                          .sham = false,
                          .found_onset_s = {},
                          .found_duration_s = {}});
    }
    CHECK(bursts.size() == (passes && count >= 24 ? (count + 1) / 2 : count));
}

TEST_CASE("plan_next: the same evidence gives the same step; off-plan sprays are evidence as well", "[dsp][plan]") {
    Visit visit(small_bay(43, {18.0}));
    const auto start = visit.next();
    REQUIRE(start.outcome == PlanStep::Outcome::step);
    CHECK(start.smallest_provable_rpm > 0.0);
    // Somebody goes round on their own.
    for (std::size_t s = 0; s < visit.spots.size(); ++s) visit.spray({s}, false);
    const auto step = visit.next();
    const auto again = visit.next();
    CHECK(step.spots == again.spots);
    CHECK(step.why == again.why);
    std::reverse(visit.bursts.begin(), visit.bursts.end());
    CHECK(visit.next().spots == step.spots);
    std::size_t likeliest = 0;
    for (std::size_t s = 0; s < step.all.size(); ++s) {
        CHECK(step.all[s].bursts == 1);
        if (step.all[s].belief.leaks > step.all[likeliest].belief.leaks) likeliest = s;
    }
    CHECK(visit.bay.spec().leak_rpm[likeliest] != 0.0);
}

TEST_CASE("plan_next: a recording that breaks off and goes on at another idle speed proves nothing by that",
          "[dsp][plan]") {
    const double after_rpm = GENERATE(40.0, -40.0);
    const auto leaks = GENERATE(std::vector<double>{}, std::vector<double>{20.0});
    const auto spec = small_bay(42, leaks);
    Visit visit(spec);
    visit.after_rpm = after_rpm;
    for (std::size_t s = 0; s < 5; ++s) visit.spray({s}, false);
    visit.break_s = visit.now_s - 1.0;
    const auto end = visit.run();
    CAPTURE(after_rpm, leaks.size());
    CHECK(end.outcome == PlanStep::Outcome::decided);
    for (std::size_t s = 0; s < end.all.size(); ++s) {
        CAPTURE(s, end.all[s].why);
        CHECK((end.all[s].decision == SpotDecision::leak) == (spec.leak_rpm[s] != 0.0));
        if (spec.leak_rpm[s] == 0.0) continue;
        CHECK(end.all[s].low_rpm <= spec.leak_rpm[s]);
        CHECK(end.all[s].high_rpm >= spec.leak_rpm[s]);
    }
}

TEST_CASE("plan_next: keeps its limits and leaves out what is to be left out", "[dsp][plan]") {
    Visit visit(small_bay(44, {30.0}));
    visit.config.most_per_visit = 6;
    visit.spots[2].left_out = true;
    const auto end = visit.run();
    const auto sprays = std::count_if(visit.bursts.begin(), visit.bursts.end(), [](const auto& b) { return !b.sham; });
    CHECK(sprays <= 6);
    for (const auto& b : visit.bursts) CHECK(std::find(b.spots.begin(), b.spots.end(), 2U) == b.spots.end());
    CHECK(end.all[2].decision == SpotDecision::undecided);
    CHECK_FALSE(end.why.empty());
}

TEST_CASE("plan_next: little suspicion is followed up only while there are bursts to spare", "[dsp][plan]") {
    std::size_t with = 0, without = 0;
    for (const std::uint64_t seed : {45U, 46U, 47U}) {
        Visit patient(small_bay(seed, {})), hurried(small_bay(seed, {}));
        patient.config.doubted = hurried.config.doubted = 0.001;  // every spot, that is
        hurried.config.most_spare = 0;
        for (const auto& s : hurried.run().all) CHECK(s.decision == SpotDecision::none);
        for (const auto& s : patient.run().all) CHECK(s.decision == SpotDecision::none);
        with += patient.bursts.size();
        without += hurried.bursts.size();
    }
    CHECK(without < with);
}

TEST_CASE("plan_next: a visit that ends before its plan does is judged as far as it went", "[dsp][plan]") {
    Visit visit(small_bay(42, {20.0}));
    const auto leak =
        static_cast<std::size_t>(std::find(visit.bay.spec().leak_rpm.begin(), visit.bay.spec().leak_rpm.end(), 20.0) -
                                 visit.bay.spec().leak_rpm.begin());
    for (std::size_t s = 0; s < visit.spots.size(); ++s)  // its last one never
        if (s != (leak + 1) % visit.spots.size()) visit.spray({s}, false);
    visit.spray({leak}, false);
    visit.spray({(leak + 2) % visit.spots.size()}, false);
    CHECK(visit.next().outcome == PlanStep::Outcome::step);
    visit.config.over = true;
    const auto end = visit.next();
    CHECK(end.outcome == PlanStep::Outcome::out_of_limits);
    CHECK(end.spots.empty());
    CHECK(end.at_most_more == 0);
    CHECK(end.all[leak].decision == SpotDecision::leak);
    CHECK(end.all[leak].low_rpm < 20.0);
    CHECK(end.all[leak].high_rpm > 20.0);
    const auto& never = end.all[(leak + 1) % visit.spots.size()];
    CHECK(never.decision == SpotDecision::undecided);
    CHECK_THAT(never.why, Catch::Matchers::Contains("ended"));
    CHECK_THAT(end.why, !Catch::Matchers::Contains("used up"));
}

TEST_CASE("plan_next: what was decided and is doubted again is sprayed on, not left at that", "[dsp][plan]") {
    int doubted = 0;
    for (std::uint64_t seed = 60; seed < 72; ++seed) {
        Visit visit(small_bay(seed, {12.0}));
        const auto leak = static_cast<std::size_t>(
            std::find(visit.bay.spec().leak_rpm.begin(), visit.bay.spec().leak_rpm.end(), 12.0) -
            visit.bay.spec().leak_rpm.begin());
        for (std::size_t s = 0; s < visit.spots.size(); ++s) visit.spray({s}, false);
        visit.spray({leak}, false);
        visit.spray({(leak + 1) % visit.spots.size()}, false);
        visit.spots[leak].decided = true;
        const auto step = visit.next();
        const auto& spot = step.all[leak];
        if (spot.belief.leaks < visit.config.suspected || settled(spot.decision)) continue;
        CAPTURE(seed, spot.why);
        CHECK(spot.decision == SpotDecision::open);
        ++doubted;
    }
    CHECK(doubted > 0);
}

TEST_CASE("plan_next: every step says why, what would change it, and how much may follow", "[dsp][plan]") {
    Visit visit(small_bay(42, {20.0}));
    for (int more = 10000;;) {
        const auto step = visit.next();
        CHECK_FALSE(step.why.empty());
        if (step.outcome != PlanStep::Outcome::step) break;
        CHECK_FALSE(step.would_change.empty());
        CHECK(step.at_most_more > 0);
        CHECK(step.at_most_more <= more);
        more = step.at_most_more;
        for (std::size_t s = 0; s < visit.spots.size(); ++s) visit.spots[s].decided = settled(step.all[s].decision);
        visit.spray(step.spots, step.sham);
    }
    CHECK(settled(SpotDecision::leak));
    CHECK_FALSE(settled(SpotDecision::undecided));  // may be taken up again
}

TEST_CASE("plan_next: wrong input is named", "[dsp][plan]") {
    const auto spots = row_of(3, 50.0);
    CHECK_THROWS_WITH(plan_next({}, {}, {}), Catch::Matchers::Contains("spots"));
    const std::vector<PlannedBurst> none_such{
        {.time_s = 1.0, .spots = {7}, .sham = false, .found_onset_s = {}, .found_duration_s = {}}};
    CHECK_THROWS_WITH(plan_next({}, none_such, spots), Catch::Matchers::Contains("7"));
    for (const double chance : {0.0, 1.0, -0.1, 1.5, std::numeric_limits<double>::quiet_NaN()}) {
        auto odd = spots;
        odd[1].prior = chance;
        CHECK_THROWS_WITH(plan_next({}, {}, odd), Catch::Matchers::Contains("prior: of spot 2"));
    }
    CHECK(plan_next({}, {}, spots).outcome == PlanStep::Outcome::step);  // no sound yet: the first round stands
}
