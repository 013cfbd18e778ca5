// Prints what planned visits reach over simulated bays: bursts used, leaks found by size, visits with a false leak,
// wrong "none", spots left undecided; against three bursts on every spot in random order over the same bays.
// Ways: "planned" (as it ships: spot by spot, on large maps in pairs of neighbours, passes to rule out what is left),
// "singly" (never a pass), "passes" (in pairs on any map), "three"; all on the true speed (no tracker, no hiss finder).
// Asked for by name: "heard", the planner through the whole pipeline (sound, tracker, hisses, state machine, prompts,
// hands), and "three_heard", three everywhere through it. Bays come from seeds that the planner was not developed on.
// Usage: plan_bench [--visits N] [--seed S] [--spots 12,20,30] [--kind plain|disturbed] [--way NAME,NAME] [--keep FILE]
//                   [--suspected P] [--doubted P] [--spare N] [--risk P]  of PlanConfig, for "planned"; --spare N
//                   spares so many bursts on any map of N spots or more
// --keep  one line a visit is kept in FILE; what is there already is not run again, and the table is of all of it.
//         `--visits 0 --keep FILE` prints the table alone.
#include "dsp/plan/planner.hpp"
#include "dsp/sim/live_bay.hpp"
#include "src/analysis/match_hiss.hpp"
#include "src/practice/practice_visit.hpp"
#include "tests/bench/plan_rows.hpp"
#include "tests/dsp/evidence_traces.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <random>
#include <string>
#include <vector>

using namespace idlehark;

namespace {

using bench::VisitRow;
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

/// What is concluded of each spot.
enum class Word : char { leak, none, undecided };

Word word_of(plan::SpotDecision d) {
    return d == plan::SpotDecision::leak ? Word::leak : d == plan::SpotDecision::none ? Word::none : Word::undecided;
}

void conclude(VisitRow& row, const sim::SessionSpec& spec, const std::vector<Word>& words) {
    for (std::size_t s = 0; s < words.size(); ++s) {
        row.none += words[s] == Word::none;
        row.undecided += words[s] == Word::undecided;
        if (const double own = spec.leak_rpm[s]; own != 0.0)
            row.own.emplace_back(own, words[s] == Word::leak ? 'l' : words[s] == Word::none ? 'n' : 'u');
        else
            row.false_leaks += words[s] == Word::leak;
    }
}

/// After how many bursts every spot's leak that matters had once been excluded.
class NoneProven {
   public:
    explicit NoneProven(std::size_t spots) : excluded_(spots, 0) {}
    void look(VisitRow& row, const plan::PlanStep& step, int bursts) {
        for (std::size_t s = 0; s < excluded_.size(); ++s)
            if (const double chance = step.all[s].belief.matters;
                chance > 0.0 && chance <= plan::none_risk(plan::PlanConfig{}, excluded_.size()))
                excluded_[s] = 1;  // 0: nothing is weighed in the first round
        if (row.none_by == 0 && std::count(excluded_.begin(), excluded_.end(), 0) == 0) row.none_by = bursts;
    }

   private:
    std::vector<char> excluded_;
};

double cpu_s() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

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

/// With PLAN_BENCH_TELL set: what became of the leaks, and of tight spots called so.
void tell(const plan::PlanStep& step, const sim::SessionSpec& spec) {
    for (std::size_t s = 0; s < step.all.size() && std::getenv("PLAN_BENCH_TELL"); ++s)
        if (const auto& of = step.all[s]; spec.leak_rpm[s] != 0.0 || of.decision == plan::SpotDecision::leak)
            std::fprintf(
                stderr, "  spot %s: %+.0f rpm: decision %d, %d+%d bursts, leaks %.2f, p %.4f, %.0f (%.0f..%.0f): %s\n",
                spec.spots[s].id.c_str(), spec.leak_rpm[s], static_cast<int>(of.decision), of.bursts, of.passes,
                of.belief.leaks, of.p_value, of.change_rpm, of.low_rpm, of.high_rpm, of.why.c_str());
}

void planned_visit(VisitRow& row, const sim::SessionSpec& spec, const plan::PlanConfig& like) {
    const auto& way = row.way;
    const auto seed = row.seed;
    sim::LiveBay bay(spec, kLongest_s);
    TrueReadings readings(bay.path(), seed);
    auto spots = planned(spec);
    auto config = like;
    config.passes = way != "singly";
    if (way == "passes") config.pairs_from = 0;
    config.seed = seed;
    config.most_per_visit = 3 * static_cast<int>(spots.size());
    std::mt19937_64 hands(seed + 1);
    std::uniform_real_distribution<double> reaction(1.0, 2.5);
    std::vector<plan::PlannedBurst> bursts;
    std::vector<double> last_s(spots.size(), -1e9);
    NoneProven none_proven(spots.size());
    double t = spec.quiet_start_s;
    for (;;) {
        const auto step = plan::plan_next(readings.until(t - kLatency_s), bursts, spots, config);
        none_proven.look(row, step, row.bursts);
        if (step.outcome != plan::PlanStep::Outcome::step) {
            tell(step, spec);
            std::vector<Word> words;
            for (const auto& s : step.all) words.push_back(word_of(s.decision));
            conclude(row, spec, words);
            break;
        }
        for (std::size_t s = 0; s < spots.size(); ++s) spots[s].decided = plan::settled(step.all[s].decision);
        for (const std::size_t s : step.spots) t = std::max(t, last_s[s] + kDrying_s);
        t += reaction(hands);
        const double duration_s = step.spots.size() > 1 ? 2.0 : 1.0;
        plan::PlannedBurst b{
            .time_s = t, .spots = step.spots, .sham = step.sham, .found_onset_s = {}, .found_duration_s = {}};
        if (!step.sham) {
            bay.spray(t, step.spots, duration_s);
            b.found_onset_s = t;
            b.found_duration_s = duration_s;
            ++row.bursts;
            row.sprayed_s += duration_s;
            for (const std::size_t s : step.spots) last_s[s] = t;
        }
        bursts.push_back(b);
        t += kSpacing_s;
    }
    row.minutes = t / 60.0;
}

/// Through everything: sound, tracker, hisses found, the state machine with its prompts and recovery, simulated hands.
void heard_visit(VisitRow& row, const sim::SessionSpec& spec) {
    VisitPlanSettings settings;
    settings.seed = row.seed;
    settings.kind_priors.fill(plan::PlannedSpot{}.prior);
    PracticeVisit practised(spec, settings, false);
    const auto& guided = practised.guided();
    auto& visit = practised.guided().visit();
    for (std::size_t i = 0; i < kCautionPoints; ++i) visit.answer(i, true);
    practised.follow_prompts(row.seed + 1);
    const auto sprays = [&] {
        return static_cast<int>(std::count_if(visit.record().bursts.begin(), visit.record().bursts.end(),
                                              [](const VisitBurst& b) { return !b.sham && !b.undone; }));
    };
    NoneProven none_proven(spec.spots.size());
    while (visit.state().stage != VisitStage::done && practised.now_s() < kLongest_s) {
        practised.run(1.0);
        if (guided.step()) none_proven.look(row, *guided.step(), sprays());
    }
    std::vector<Word> words(spec.spots.size(), Word::undecided);
    if (const auto& step = guided.step()) {
        tell(*step, spec);
        for (std::size_t s = 0; s < words.size(); ++s) words[s] = word_of(step->all[s].decision);
    }
    conclude(row, spec, words);
    for (const auto& b : practised.bay().bursts())
        if (spec.leak_rpm[b.spot] != 0.0 && std::getenv("PLAN_BENCH_TELL")) {
            const auto& seen = visit.record().bursts;
            const auto it = std::find_if(seen.begin(), seen.end(), [&](const VisitBurst& v) {
                return !v.sham && std::abs(v.time_s - b.time_s) < 3.0;
            });
            std::fprintf(stderr,
                         "  spot %s: %+.0f rpm, sprayed at %.1f s for %.1f s, %.2f arrived; heard %.1f s, as %s\n",
                         spec.spots[b.spot].id.c_str(), spec.leak_rpm[b.spot], b.time_s, b.duration_s, b.amount,
                         it == seen.end() ? -1.0 : it->found_onset_s.value_or(-2.0),
                         it == seen.end() ? "nothing" : it->spots.front().c_str());
        }
    for (const auto& b : practised.bay().bursts()) row.sprayed_s += b.duration_s;
    row.bursts = sprays();
    row.minutes = practised.now_s() / 60.0;
}

/// Three bursts everywhere, judged at once.
void conclude_three(VisitRow& row, const sim::Session& session, const SprayTestResult& r) {
    std::vector<Word> words;
    for (const auto& s : r.spots)
        words.push_back(s.verdict == SprayVerdict::leak        ? Word::leak
                        : s.verdict == SprayVerdict::none_seen ? Word::none
                                                               : Word::undecided);
    conclude(row, session.spec(), words);
    row.bursts = static_cast<int>(session.bursts().size());
    for (const auto& b : session.bursts()) row.sprayed_s += b.duration_s;
    row.minutes = session.duration_s() / 60.0;
}

void three_heard(VisitRow& row, const sim::SessionSpec& spec) {
    const sim::Session session(spec);
    const auto source = session.sound();
    const auto sound = sim::render_seconds(*source, session.duration_s());
    auto bursts = test::marked_bursts(session);
    std::vector<double> times_s;
    times_s.reserve(bursts.size());
    for (const auto& b : bursts) times_s.push_back(b.time_s);
    const auto hisses = match_hiss(times_s, find_hiss({.sample_rate_hz = kRate_hz}, sound));
    for (std::size_t i = 0; i < bursts.size(); ++i)
        if (hisses[i]) bursts[i].found_onset_s = hisses[i]->time_s;
    const auto r = evaluate_spray(track_idle({.sample_rate_hz = kRate_hz, .engine = spec.engine.engine}, sound), bursts,
                                  test::mapped_spots(spec));
    conclude_three(row, session, r);
}

void three_everywhere(VisitRow& row, const sim::SessionSpec& spec) {
    const sim::Session session(spec);
    auto bursts = test::marked_bursts(session);
    for (std::size_t i = 0; i < bursts.size(); ++i) bursts[i].found_onset_s = session.bursts()[i].time_s;
    const auto r = evaluate_spray(test::read_speed(session.path(), kReadingNoise_rpm, static_cast<unsigned>(row.seed)),
                                  bursts, test::mapped_spots(spec));
    conclude_three(row, session, r);
}

void run(VisitRow& row, const sim::SessionSpec& spec, const plan::PlanConfig& like) {
    const double start_s = cpu_s();
    if (row.way == "heard")
        heard_visit(row, spec);
    else if (row.way == "three_heard")
        three_heard(row, spec);
    else if (row.way == "three")
        three_everywhere(row, spec);
    else
        planned_visit(row, spec, like);
    row.cpu_s = cpu_s() - start_s;
}

std::vector<std::string> parts(const std::string& list) {
    std::vector<std::string> out;
    std::istringstream in(list);
    for (std::string part; std::getline(in, part, ',');) out.push_back(part);
    return out;
}

}  // namespace

int main(int argc, char** argv) {
    int visits = 20;
    plan::PlanConfig like;
    std::uint64_t seed = 910000;
    std::vector<std::string> sizes{"12", "20", "30"}, ways{"three", "passes", "singly", "planned"};
    std::string kind, keep;
    for (int i = 1; i + 1 < argc; i += 2) {
        const std::string option = argv[i], value = argv[i + 1];
        if (option == "--visits") visits = std::stoi(value);
        if (option == "--seed") seed = std::stoull(value);
        if (option == "--suspected") like.suspected = std::stod(value);
        if (option == "--doubted") like.doubted = std::stod(value);
        if (option == "--spare") like.most_spare = std::stoi(value), like.spare_share = 1.0;
        if (option == "--risk") like.none_risk = std::stod(value);
        if (option == "--kind") kind = value;
        if (option == "--way") ways = parts(value);
        if (option == "--spots") sizes = parts(value);
        if (option == "--keep") keep = value;
    }
    bench::VisitRows rows(keep);
    for (const bool disturbed : {false, true}) {
        const std::string name = disturbed ? "disturbed" : "plain";
        if (!kind.empty() && kind != name) continue;
        for (const auto& size : sizes)
            for (int k = 0; k < visits; ++k)
                for (const auto& way : ways) {
                    VisitRow row;
                    row.kind = name;
                    row.way = way;
                    row.spots = std::stoi(size);
                    row.seed = seed + static_cast<std::uint64_t>(1000 * row.spots + k);
                    if (rows.has(row)) continue;
                    run(row, draw(disturbed, row.spots, row.seed), like);
                    rows.add(row);
                }
    }
    rows.print();
}
