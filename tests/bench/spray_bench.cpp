// Prints what the spray verdicts reach over simulated sessions: leaks proven by size, sessions with a false leak,
// interval coverage, wrong "none seen", and how the foretold smallest provable change compares with what was achieved.
// Three ways over the same sessions: from sound (rendered at 16 kHz, tracker, hiss finder), from the true speed with
// the bursts' times as a hiss finder hears them (what no tracker can beat), and a plain difference of means before and
// after each burst. Sessions come from seeds that the evidence was not developed on: its constants come from seeds
// 30000 to 30199, 41000 to 41199 and 71000 to 71299, the usual tail of the shams from leakless sessions of 52000 to
// 52249. Usage: spray_bench [--sessions N] [--seed S] [--sort plain|disturbed] [--no-sound]
#include "dsp/bursts/hiss_finder.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "dsp/idle_tracker.hpp"
#include "dsp/sim/session.hpp"
#include "dsp/statistics.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"
#include "tests/dsp/evidence_traces.hpp"

#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <mutex>
#include <random>
#include <string>
#include <thread>

using namespace idlehark;

namespace {

constexpr double kSoundRate_hz = 16000.0;
constexpr double kMarkReach_s = 1.5;  // a hiss this near a mark is that burst
constexpr double kMatters_rpm = 15.0;
constexpr double kOnsetError_s = 0.05;

struct Tally {
    std::map<int, std::array<int, 2>> by_size;  // proven, of
    std::array<int, 2> hit{};                   // the same for leaks that at least two bursts reached
    int sessions = 0, false_sessions = 0;
    int spots = 0, covered = 0, leaks = 0, leaks_covered = 0;
    int none_seen = 0, none_seen_wrong = 0;
    int oversprayed = 0, called_overspray = 0;
    int sharp = 0, bursts = 0;
    std::vector<double> foretold, achieved;
    double locked = 0.0, seconds = 0.0;
};

struct Case {
    sim::SessionSpec spec;
    std::vector<double> change;  // per spot: own leak and what drifts over from others
    std::vector<int> hits;       // per spot: bursts that reached it
};

Case draw(bool disturbed, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    const std::vector<double> sizes =
        disturbed ? std::vector<double>{15.0, 25.0, 40.0} : std::vector<double>{6.0, 8.0, 10.0, 15.0};
    std::vector<double> leaks(std::uniform_int_distribution<std::size_t>(0, 3)(random));
    for (double& v : leaks) {
        v = sizes[std::uniform_int_distribution<std::size_t>(0, sizes.size() - 1)(random)];
        if (std::uniform_int_distribution<int>(0, 3)(random) == 0) v = -v;
    }
    Case c{disturbed ? sim::disturbed_session(seed, leaks, 12, kSoundRate_hz)
                     : sim::plain_session(seed, leaks, 12, kSoundRate_hz),
           {},
           {}};
    c.change = c.spec.leak_rpm;
    const auto& spots = c.spec.spots;
    for (std::size_t i = 0; i < spots.size(); ++i)
        for (std::size_t k = 0; k < spots.size(); ++k)
            if (i != k &&
                std::hypot(spots[i].x_mm - spots[k].x_mm, spots[i].y_mm - spots[k].y_mm) <= c.spec.hands.reach_mm)
                c.change[i] += c.spec.hands.overspray_share * c.spec.leak_rpm[k];
    return c;
}

void judge(const Case& c, const SprayTestResult& r, Tally& t) {
    ++t.sessions;
    bool any_false = false;
    for (std::size_t s = 0; s < r.spots.size(); ++s) {
        const auto& spot = r.spots[s];
        const double own = c.spec.leak_rpm[s];
        const bool leak = spot.verdict == SprayVerdict::leak;
        const bool covered = spot.low_rpm <= c.change[s] && c.change[s] <= spot.high_rpm;
        ++t.spots;
        t.covered += covered;
        if (own != 0.0) {
            auto& [proven, of] = t.by_size[static_cast<int>(std::lround(std::abs(own)))];
            proven += leak;
            ++of;
            if (c.hits[s] >= 2) {
                t.hit[0] += leak;
                ++t.hit[1];
            }
            ++t.leaks;
            t.leaks_covered += covered;
        } else {
            any_false = any_false || leak;
            t.oversprayed += c.change[s] != 0.0;
            t.called_overspray += c.change[s] != 0.0 && spot.verdict == SprayVerdict::overspray;
        }
        if (spot.verdict == SprayVerdict::none_seen) {
            ++t.none_seen;
            t.none_seen_wrong += std::abs(c.change[s]) >= kMatters_rpm;
        }
    }
    t.false_sessions += any_false;
    if (std::isfinite(r.smallest_provable_rpm)) {
        t.foretold.push_back(r.smallest_provable_rpm);
        t.achieved.push_back(r.achieved_provable_rpm);
    }
}

/// Mean of 2..6 s after each mark minus mean of the 5 s before; spots by Student's t with the spread pooled over all
/// spots, Bonferroni over spots.
SprayTestResult plain_difference(std::span<const RpmReading> readings, std::span<const SprayBurst> bursts,
                                 std::size_t spots) {
    const auto mean_of = [&](double from_s, double to_s) {
        double sum = 0.0, n = 0.0;
        for (const auto& r : readings)
            if (r.locked && r.time_s >= from_s && r.time_s < to_s) {
                sum += r.rpm;
                n += 1.0;
            }
        return sum / n;
    };
    std::vector<std::vector<double>> changes(spots);
    for (const auto& b : bursts)
        changes[b.spot].push_back(mean_of(b.time_s + 2.0, b.time_s + 6.0) - mean_of(b.time_s - 5.0, b.time_s));
    double square = 0.0, df = 0.0;
    for (const auto& c : changes)
        for (const double v : c) square += std::pow(v - stats::mean(c), 2);
    for (const auto& c : changes) df += static_cast<double>(c.size()) - 1.0;
    SprayTestResult result;
    for (const auto& c : changes) {
        SpotResult spot;
        const double se = std::sqrt(square / df / static_cast<double>(c.size()));
        spot.change_rpm = stats::mean(c);
        const double half = stats::student_t_quantile(0.975, df) * se;
        spot.low_rpm = spot.change_rpm - half;
        spot.high_rpm = spot.change_rpm + half;
        spot.p_value =
            std::min(1.0, 2.0 * static_cast<double>(spots) * stats::student_t_cdf(-std::abs(spot.change_rpm) / se, df));
        if (spot.p_value <= 0.05)
            spot.verdict = SprayVerdict::leak;
        else if (spot.low_rpm > -kMatters_rpm && spot.high_rpm < kMatters_rpm)
            spot.verdict = SprayVerdict::none_seen;
        result.spots.push_back(spot);
    }
    return result;
}

std::vector<SprayBurst> sharpened(std::vector<SprayBurst> bursts, std::span<const HissBurst> heard) {
    for (auto& b : bursts)
        for (const auto& h : heard) {
            const double off_s = std::abs(h.time_s - b.time_s);
            if (off_s <= kMarkReach_s && (!b.found_onset_s || off_s < std::abs(*b.found_onset_s - b.time_s))) {
                b.found_onset_s = h.time_s;
                b.found_duration_s = h.duration_s;
            }
        }
    return bursts;
}

/// Marks with the true onsets, read as well as a hiss finder does.
std::vector<SprayBurst> as_heard(std::vector<SprayBurst> bursts, const sim::Session& session, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> error_s(0.0, kOnsetError_s);
    for (std::size_t i = 0; i < bursts.size(); ++i)
        bursts[i].found_onset_s = session.bursts()[i].time_s + error_s(random);
    return bursts;
}

void print(const char* kind, const char* way, const Tally& t) {
    std::printf("%-10s %-10s", kind, way);
    for (const auto& [size, count] : t.by_size) std::printf(" %2d rpm %3d/%-3d", size, count[0], count[1]);
    std::printf("  hit twice or more %d/%d", t.hit[0], t.hit[1]);
    std::printf("  false %d/%d", t.false_sessions, t.sessions);
    std::printf("  coverage %.1f%% (leaks %.1f%%)", 100.0 * t.covered / std::max(1, t.spots),
                100.0 * t.leaks_covered / std::max(1, t.leaks));
    std::printf("  none seen wrong %d/%d", t.none_seen_wrong, t.none_seen);
    if (t.oversprayed) std::printf("  overspray told %d/%d", t.called_overspray, t.oversprayed);
    if (!t.foretold.empty()) {
        std::vector<double> ratio;
        int near = 0;
        for (std::size_t i = 0; i < t.foretold.size(); ++i) {
            ratio.push_back(t.foretold[i] / t.achieved[i]);
            near += ratio.back() > 0.75 && ratio.back() < 1.25;
        }
        std::printf("  provable %.1f rpm, foretold/achieved median %.2f (within 25%%: %d/%zu)",
                    stats::median(t.achieved), stats::median(ratio), near, ratio.size());
    }
    if (t.bursts) std::printf("  hiss found %.1f%%", 100.0 * t.sharp / t.bursts);
    if (t.locked > 0.0) std::printf("  locked %.1f%%", 100.0 * t.locked / t.sessions);
    std::printf("  %.2f s each\n", t.seconds / std::max(1, t.sessions));
    std::fflush(stdout);
    const auto name = std::string{kind} + ", " + way;
    for (const auto& [size, count] : t.by_size)
        bench::keep_row("spray", name + ", leaks of " + std::to_string(size) + " rpm",
                        {{"proven", static_cast<double>(count[0])}, {"of", static_cast<double>(count[1])}});
    bench::keep_row("spray", name,
                    {{"sessions", static_cast<double>(t.sessions)},
                     {"with_a_false_leak", static_cast<double>(t.false_sessions)},
                     {"hit_twice_proven", static_cast<double>(t.hit[0])},
                     {"hit_twice", static_cast<double>(t.hit[1])},
                     {"covered_percent", 100.0 * t.covered / std::max(1, t.spots)},
                     {"none_seen", static_cast<double>(t.none_seen)},
                     {"none_seen_wrong", static_cast<double>(t.none_seen_wrong)},
                     {"oversprayed", static_cast<double>(t.oversprayed)},
                     {"overspray_told", static_cast<double>(t.called_overspray)},
                     {"seconds_each", t.seconds / std::max(1, t.sessions)}});
}

}  // namespace

int main(int argc, char** argv) {
    bench::Words words(argc, argv);
    const bool sound = !words.said("--no-sound");
    const auto sort = words.text("--sort");  // empty: both
    const int sessions = words.count("--sessions", 100);
    const auto seed = words.seed("--seed", 700000);
    words.done();
    std::printf("%d sessions of each sort: 12 spots x 3 bursts, 14 s apart; \"%d/%d\": proven of all\n", sessions, 1,
                2);
    for (const bool disturbed : {false, true}) {
        if (!sort.empty() && sort != (disturbed ? "disturbed" : "plain")) continue;
        Tally from_sound, from_truth, from_means;
        std::mutex mutex;
        std::atomic<int> next = 0;
        const auto work = [&] {
            for (int k = next++; k < sessions; k = next++) {
                Case c = draw(disturbed, seed + static_cast<std::uint64_t>(k));
                const sim::Session session(c.spec);
                c.hits.resize(c.spec.spots.size());
                for (const auto& b : session.bursts()) c.hits[b.spot] += b.amount > 0.0;
                const auto marks = test::marked_bursts(session);
                const auto spots = test::mapped_spots(c.spec);
                const auto clock = [] { return std::chrono::steady_clock::now(); };
                const auto since = [&](auto start) { return std::chrono::duration<double>(clock() - start).count(); };

                const auto truth = test::read_speed(session.path(), 0.05, static_cast<unsigned>(k));
                const auto heard = as_heard(marks, session, static_cast<unsigned>(k));
                auto start = clock();
                const auto true_result = evaluate_spray(truth, heard, spots);
                const double true_s = since(start);
                const auto means = plain_difference(truth, marks, spots.size());

                std::vector<RpmReading> readings;
                std::vector<SprayBurst> bursts;
                SprayTestResult sound_result;
                double sound_s = 0.0;
                if (sound) {
                    const auto source = session.sound();
                    IdleTracker tracker({.sample_rate_hz = kSoundRate_hz, .engine = c.spec.engine.engine});
                    HissFinder finder({.sample_rate_hz = kSoundRate_hz});
                    std::vector<float> block(16000);
                    const auto keep = [&](std::span<const RpmReading> r) {
                        readings.insert(readings.end(), r.begin(), r.end());
                    };
                    for (double t = 0.0; t + 1.0 <= session.duration_s(); t += 1.0) {
                        source->render(block);
                        keep(tracker.process(block));
                        finder.process(block);
                    }
                    keep(tracker.finish());
                    finder.finish();
                    bursts = sharpened(marks, finder.bursts());
                    start = clock();
                    sound_result = evaluate_spray(readings, bursts, spots);
                    sound_s = since(start);
                }

                const std::lock_guard lock(mutex);
                judge(c, true_result, from_truth);
                from_truth.seconds += true_s;
                judge(c, means, from_means);
                if (!sound) continue;
                judge(c, sound_result, from_sound);
                from_sound.seconds += sound_s;
                double locked = 0.0;
                for (const auto& r : readings) locked += r.locked;
                from_sound.locked += locked / static_cast<double>(std::max<std::size_t>(1, readings.size()));
                for (const auto& b : bursts) {
                    ++from_sound.bursts;
                    from_sound.sharp += b.found_onset_s.has_value();
                }
            }
        };
        {
            std::jthread other(work);
            work();
        }
        const char* kind = disturbed ? "disturbed" : "plain";
        if (sound) print(kind, "sound", from_sound);
        print(kind, "true speed", from_truth);
        print(kind, "means", from_means);
    }
}
