// Prints what planned visits reach over simulated bays: bursts used, leaks found by size, visits with a false leak,
// wrong "none", spots left undecided; against three bursts on every spot in random order over the same bays.
// Ways: "planned" (as it ships: spot by spot, passes to rule out what is left), "singly" (never a pass), "passes" (from
// the first round on), "three"; all on the true speed (no tracker, no hiss finder). Asked for by name: "heard", the
// planner through the whole pipeline (sound, tracker, hisses, state machine, prompts, hands), and "three_heard", three
// everywhere through it. Bays come from seeds that the planner was not developed on. Usage: plan_bench [--visits N]
// [--seed S] [--spots 12,20,30] [--kind plain|disturbed] [--way NAME]
#include "dsp/plan/planner.hpp"
#include "dsp/sim/live_bay.hpp"
#include "src/analysis/spray_session.hpp"
#include "src/practice/practice_visit.hpp"
#include "tests/bench/rows.hpp"
#include "tests/dsp/evidence_traces.hpp"

#include <array>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <map>
#include <random>
#include <string>
#include <vector>

using namespace idlehark;

namespace {

constexpr double kMatters_rpm = 15.0;
constexpr double kRate_hz = 16000.0;
constexpr double kLongest_s = 2400.0;
constexpr double kSpacing_s = 14.0;
constexpr double kDrying_s = 30.0;
constexpr double kReadingNoise_rpm = 0.05;
constexpr double kLatency_s = 1.0;

sim::SessionSpec draw(bool disturbed, int spots, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    const std::vector<double> sizes =
        disturbed ? std::vector<double>{15.0, 25.0, 40.0} : std::vector<double>{6.0, 8.0, 10.0, 15.0, 25.0};
    std::vector<double> leaks(std::uniform_int_distribution<std::size_t>(0, 3)(random));
    for (double& v : leaks) {
        v = sizes[std::uniform_int_distribution<std::size_t>(0, sizes.size() - 1)(random)];
        if (std::uniform_int_distribution<int>(0, 3)(random) == 0) v = -v;
    }
    return disturbed ? sim::disturbed_session(seed, leaks, spots, kRate_hz)
                     : sim::plain_session(seed, leaks, spots, kRate_hz);
}

struct Outcome {
    std::vector<char> leak, none;  // per spot
    int bursts = 0, undecided = 0;
    double sprayed_s = 0.0, minutes = 0.0, cpu_s = 0.0;
};

std::vector<plan::PlannedSpot> planned(const sim::SessionSpec& spec) {
    std::vector<plan::PlannedSpot> spots;
    for (const auto& s : spec.spots) spots.push_back({s.id, Place{s.x_mm, s.y_mm}});
    return spots;
}

/// The speed as a good tracker would read it, as far as it has been run.
class TrueReadings {
   public:
    TrueReadings(const sim::SpeedPath& path, std::uint64_t seed) : path_(path), random_(seed) {}
    const std::vector<RpmReading>& until(double time_s) {
        std::normal_distribution<double> normal(0.0, kReadingNoise_rpm);
        for (; next_s_ <= time_s; next_s_ += 0.1) {
            const double rpm = path_.mean_rpm(next_s_ - 0.15, next_s_ + 0.15) + normal(random_);
            readings_.push_back({next_s_, rpm, rpm - 0.1, rpm + 0.1, true});
        }
        return readings_;
    }

   private:
    const sim::SpeedPath& path_;
    std::mt19937_64 random_;
    std::vector<RpmReading> readings_;
    double next_s_ = 0.3;
};

Outcome planned_visit(const sim::SessionSpec& spec, const char* way, double suspected, std::uint64_t seed) {
    sim::LiveBay bay(spec, kLongest_s);
    TrueReadings readings(bay.path(), seed);
    auto spots = planned(spec);
    plan::PlanConfig config;
    config.passes = std::strcmp(way, "singly") != 0;
    config.passes_first = !std::strcmp(way, "passes");
    config.suspected = suspected;
    config.seed = seed;
    config.most_per_visit = 3 * static_cast<int>(spots.size());
    std::mt19937_64 hands(seed + 1);
    std::uniform_real_distribution<double> reaction(1.0, 2.5);
    std::vector<plan::PlannedBurst> bursts;
    std::vector<double> last_s(spots.size(), -1e9);
    Outcome out;
    const auto start = std::clock();
    double t = spec.quiet_start_s;
    for (;;) {
        const auto step = plan::plan_next(readings.until(t - kLatency_s), bursts, spots, config);
        if (step.outcome != plan::PlanStep::Outcome::step) {
            for (std::size_t s = 0; s < step.all.size() && std::getenv("PLAN_BENCH_TELL"); ++s)
                if (spec.leak_rpm[s] != 0.0 || step.all[s].decision == plan::SpotDecision::leak)
                    std::printf(
                        "  seed %llu spot %s: %+.0f rpm: decision %d, %d+%d bursts, leaks %.2f, p %.4f, %.0f "
                        "(%.0f..%.0f): %s\n",
                        static_cast<unsigned long long>(seed), spots[s].id.c_str(), spec.leak_rpm[s],
                        static_cast<int>(step.all[s].decision), step.all[s].bursts, step.all[s].passes,
                        step.all[s].belief.leaks, step.all[s].p_value, step.all[s].change_rpm, step.all[s].low_rpm,
                        step.all[s].high_rpm, step.all[s].why.c_str());
            for (const auto& s : step.all) {
                out.leak.push_back(s.decision == plan::SpotDecision::leak);
                out.none.push_back(s.decision == plan::SpotDecision::none);
                out.undecided += s.decision == plan::SpotDecision::undecided;
            }
            break;
        }
        for (std::size_t s = 0; s < spots.size(); ++s)
            spots[s].decided = spots[s].decided || step.all[s].decision != plan::SpotDecision::open;
        for (const std::size_t s : step.spots) t = std::max(t, last_s[s] + kDrying_s);
        t += reaction(hands);
        const double duration_s = step.spots.size() > 1 ? 2.0 : 1.0;
        plan::PlannedBurst b{
            .time_s = t, .spots = step.spots, .sham = step.sham, .found_onset_s = {}, .found_duration_s = {}};
        if (!step.sham) {
            bay.spray(t, step.spots, duration_s);
            b.found_onset_s = t;
            b.found_duration_s = duration_s;
            ++out.bursts;
            out.sprayed_s += duration_s;
            for (const std::size_t s : step.spots) last_s[s] = t;
        }
        bursts.push_back(b);
        t += kSpacing_s;
    }
    out.minutes = t / 60.0;
    out.cpu_s = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    return out;
}

/// Through everything: sound, tracker, hisses found, the state machine with its prompts and recovery, simulated hands.
Outcome heard_visit(const sim::SessionSpec& spec, std::uint64_t seed) {
    VisitPlanSettings settings;
    settings.seed = seed;
    settings.kind_priors.fill(plan::PlannedSpot{}.prior);
    const auto start = std::clock();
    PracticeVisit practised(spec, settings, false);
    auto& visit = practised.guided().visit();
    for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
    practised.follow_prompts(seed + 1);
    while (visit.state().stage != VisitStage::done && practised.now_s() < kLongest_s) practised.run(1.0);
    Outcome out;
    const auto& step = practised.guided().step();
    for (std::size_t s = 0; s < spec.spots.size(); ++s) {
        const auto decision = step ? step->all[s].decision : plan::SpotDecision::undecided;
        out.leak.push_back(decision == plan::SpotDecision::leak);
        out.none.push_back(decision == plan::SpotDecision::none);
        out.undecided += decision == plan::SpotDecision::undecided || decision == plan::SpotDecision::open;
    }
    for (const auto& b : visit.record().bursts) {
        if (b.sham || b.undone) continue;
        ++out.bursts;
        out.sprayed_s += b.spots.size() > 1 ? PracticeVisit::kPass_s : PracticeVisit::kBurst_s;
    }
    out.minutes = practised.now_s() / 60.0;
    out.cpu_s = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    return out;
}

/// Three bursts everywhere through the same pipeline.
Outcome outcome_of(const sim::Session& session, std::span<const SprayBurst> bursts, const SprayTestResult& r) {
    Outcome out;
    for (const auto& s : r.spots) {
        out.leak.push_back(s.verdict == SprayVerdict::leak);
        out.none.push_back(s.verdict == SprayVerdict::none_seen);
        out.undecided += s.verdict == SprayVerdict::undecided;
    }
    out.bursts = static_cast<int>(bursts.size());
    for (const auto& b : session.bursts()) out.sprayed_s += b.duration_s;
    out.minutes = session.duration_s() / 60.0;
    return out;
}

Outcome three_heard(const sim::SessionSpec& spec) {
    const sim::Session session(spec);
    const auto source = session.sound();
    const auto sound = sim::render_seconds(*source, session.duration_s());
    auto bursts = test::marked_bursts(session);
    std::vector<double> times_s;
    for (const auto& b : bursts) times_s.push_back(b.time_s);
    const auto hisses = match_hiss(times_s, find_hiss({.sample_rate_hz = kRate_hz}, sound), 1.5);
    for (std::size_t i = 0; i < bursts.size(); ++i)
        if (hisses[i]) bursts[i].found_onset_s = hisses[i]->time_s;
    const auto r = evaluate_spray(track_idle({.sample_rate_hz = kRate_hz, .engine = spec.engine.engine}, sound), bursts,
                                  test::mapped_spots(spec));
    return outcome_of(session, bursts, r);
}

Outcome three_everywhere(const sim::SessionSpec& spec, std::uint64_t seed) {
    const sim::Session session(spec);
    auto bursts = test::marked_bursts(session);
    for (std::size_t i = 0; i < bursts.size(); ++i) bursts[i].found_onset_s = session.bursts()[i].time_s;
    const auto r = evaluate_spray(test::read_speed(session.path(), kReadingNoise_rpm, static_cast<unsigned>(seed)),
                                  bursts, test::mapped_spots(spec));
    return outcome_of(session, bursts, r);
}

struct Tally {
    int visits = 0, false_visits = 0, none = 0, none_wrong = 0, undecided = 0, spots = 0;
    std::map<int, std::array<int, 2>> by_size;
    double bursts = 0.0, dry_bursts = 0.0, sprayed_s = 0.0, minutes = 0.0, cpu_s = 0.0;
    int dry_visits = 0;

    void add(const sim::SessionSpec& spec, const Outcome& o) {
        ++visits;
        bool any_false = false, any_leak = false;
        for (std::size_t s = 0; s < spec.spots.size(); ++s) {
            const double own = spec.leak_rpm[s];
            ++spots;
            any_leak = any_leak || own != 0.0;
            if (own != 0.0) {
                auto& [found, of] = by_size[static_cast<int>(std::lround(std::abs(own)))];
                found += o.leak[s];
                ++of;
            } else {
                any_false = any_false || o.leak[s];
            }
            none += o.none[s];
            none_wrong += o.none[s] && std::abs(own) >= kMatters_rpm;
        }
        false_visits += any_false;
        undecided += o.undecided;
        bursts += o.bursts;
        sprayed_s += o.sprayed_s;
        minutes += o.minutes;
        cpu_s += o.cpu_s;
        if (!any_leak) {
            ++dry_visits;
            dry_bursts += o.bursts;
        }
    }
    void print(const char* kind, int spots_each, const char* way) const {
        std::printf("%-9s %2d %-10s bursts %5.1f (%3.0f %%; dry bays %4.1f)  spray %4.0f s  %4.1f min ", kind,
                    spots_each, way, bursts / visits, 100.0 * bursts / visits / (3.0 * spots_each),
                    dry_bursts / std::max(1, dry_visits), sprayed_s / visits, minutes / visits);
        for (const auto& [size, n] : by_size) std::printf(" %2d rpm %2d/%-2d", size, n[0], n[1]);
        std::printf("  false %d/%d  none wrong %d/%d  undecided %.1f %%  cpu %.1f s\n", false_visits, visits,
                    none_wrong, none, 100.0 * undecided / spots, cpu_s / visits);
        std::fflush(stdout);
        const auto name = std::string{kind} + ", " + std::to_string(spots_each) + " spots, " + way;
        bench::keep_row("plan", name,
                        {{"visits", static_cast<double>(visits)},
                         {"bursts", bursts / visits},
                         {"bursts_of_three_everywhere_percent", 100.0 * bursts / visits / (3.0 * spots_each)},
                         {"minutes", minutes / visits},
                         {"with_a_false_leak", static_cast<double>(false_visits)},
                         {"none", static_cast<double>(none)},
                         {"none_wrong", static_cast<double>(none_wrong)},
                         {"undecided_percent", 100.0 * undecided / spots}});
        for (const auto& [size, n] : by_size)
            bench::keep_row("plan", name + ", leaks of " + std::to_string(size) + " rpm",
                            {{"found", static_cast<double>(n[0])}, {"of", static_cast<double>(n[1])}});
    }
};

}  // namespace

int main(int argc, char** argv) {
    int visits = 20;
    double suspected = plan::PlanConfig{}.suspected;
    std::uint64_t seed = 910000;
    std::vector<int> sizes{12, 20, 30};
    std::string kind, way;
    for (int i = 1; i + 1 < argc; i += 2) {
        if (!std::strcmp(argv[i], "--visits")) visits = std::atoi(argv[i + 1]);
        if (!std::strcmp(argv[i], "--seed")) seed = static_cast<std::uint64_t>(std::atoll(argv[i + 1]));
        if (!std::strcmp(argv[i], "--suspected")) suspected = std::atof(argv[i + 1]);
        if (!std::strcmp(argv[i], "--kind")) kind = argv[i + 1];
        if (!std::strcmp(argv[i], "--way")) way = argv[i + 1];
        if (!std::strcmp(argv[i], "--spots")) sizes = {std::atoi(argv[i + 1])};
    }
    for (const bool disturbed : {false, true}) {
        const char* name = disturbed ? "disturbed" : "plain";
        if (!kind.empty() && kind != name) continue;
        for (const int spots : sizes) {
            std::map<std::string, Tally> tallies;
            for (int k = 0; k < visits; ++k) {
                const auto visit_seed = seed + static_cast<std::uint64_t>(1000 * spots + k);
                const auto spec = draw(disturbed, spots, visit_seed);
                const auto wanted = [&](const char* w) { return way.empty() || way == w; };
                if (way == "heard") tallies["heard"].add(spec, heard_visit(spec, visit_seed));
                if (way == "three_heard") tallies["three_heard"].add(spec, three_heard(spec));
                if (wanted("three")) tallies["three"].add(spec, three_everywhere(spec, visit_seed));
                for (const char* w : {"passes", "singly", "planned"})
                    if (wanted(w)) tallies[w].add(spec, planned_visit(spec, w, suspected, visit_seed));
            }
            for (const auto& [w, t] : tallies) t.print(name, spots, w.c_str());
        }
    }
}
