// Prints what the injector test reaches on simulated sets: share of right verdicts by what each injector really
// does, errors of missed share, jitter and spacing, silent ones called regular; with the engine heard and without; and
// the speed. Usage: injectors_bench [first seed] [sets per row] [part of a row's name] [talk]
// The rows "other" are of a simulated probe that nothing was developed on (tests/plain_probe.hpp). The table is meant
// to be read on seeds from 7000 on. "told" leaves out sets of which as many share a wrong opening time as the right
// one. "miss<1pt", "oc<.1ms" and "jit<20%" are the shares of injectors, not silent and not
// called so, whose figure is that near the truth; "3%>0" how many with a miss rate of 3 % and a miss in the recording
// are told from none; a set without verdict counts as wrong. Speeds are times real time, of everything ("x-all") and
// without the tracker.
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/statistics.hpp"
#include "tests/bench/rows.hpp"
#include "tests/injector_sets.hpp"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>

using namespace idlehark;
using namespace idlehark::test;

namespace {

struct Tally {
    int asked[fault_count] = {}, right[fault_count] = {};
    int told = 0, told_right = 0;  ///< in sets whose right opening time sound can tell
    int silent_regular = 0, three = 0, three_found = 0;
    std::vector<double> missed_error, jitter_error, spacing_error_ms;
    double sound_s = 0.0, tracker_s = 0.0, clicks_s = 0.0;
};

/// Processor time: the machine may have other work.
double now_s() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

void run_set(const SetCondition& row, std::uint64_t seed, Tally& tally, bool talk) {
    const auto drawn = draw_set(row, seed);
    const auto& spec = drawn.spec;
    const double jitter_us = drawn.jitter_us;
    std::vector<ProbedInjector> set;
    std::vector<sim::InjectorProbe> truths;
    for (int c = 1; c <= row.cylinders; ++c) {
        auto probe = record(drawn, row, c);
        const double t0 = now_s();
        const auto readings = readings_of_rumble(probe.samples, row.rate_hz, spec.engine);
        const double t1 = now_s();
        set.push_back({c, examine_probe(probe.samples, row.rate_hz, readings, spec.engine, c)});
        tally.sound_s += drawn.paths[static_cast<std::size_t>(c - 1)].duration_s;
        tally.tracker_s += t1 - t0;
        tally.clicks_s += now_s() - t1;
        probe.samples.clear();
        truths.push_back(std::move(probe));
    }
    const auto verdicts = compare_injectors(set, spec.engine);
    const bool told = opening_time_told(drawn);
    for (std::size_t i = 0; i < set.size(); ++i) {
        auto fault = drawn.faults[i];
        const auto& truth = truths[i];
        const auto& v = verdicts.injectors[i];
        const auto& r = set[i].recording;
        if (fault == one_misses && truth.missed == 0) fault = no_fault;  // none happened to be missed
        ++tally.asked[fault];
        const bool right = !verdicts.no_part && v.verdict == wanted(fault);
        tally.right[fault] += right ? 1 : 0;
        if (told) {
            ++tally.told;
            tally.told_right += right ? 1 : 0;
        }
        if (fault == one_silent && v.verdict == InjectorVerdict::regular) ++tally.silent_regular;
        if (drawn.faults[i] == one_misses && spec.health[i].miss_probability == 0.03 && truth.missed > 0) {
            ++tally.three;
            tally.three_found += v.missed_low_percent > 0.2 || v.verdict == InjectorVerdict::missing_clicks ? 1 : 0;
        }
        if (talk && !right) {
            std::printf(
                "  seed %llu c%zu %s got %d rpm %.0f lvl %.1f due %d missed %d(%d) clear %d jit %.0f(%.0f) oc "
                "%.2f(%.2f) turn %d F%d rep %d clar %.1f com %.2f set",
                static_cast<unsigned long long>(seed), i + 1, kFaultNames[fault], static_cast<int>(v.verdict), r.rpm,
                v.level_db, r.due, r.missed, truth.missed, r.clearly_missed, r.jitter_us, jitter_us, r.open_close_ms,
                spec.health[i].open_close_ms, r.each_turn, r.firing_heard, r.repeats, r.clarity_db, r.common_share);
            for (std::size_t k = 0; k < set.size(); ++k)
                std::printf(" %s%.1f(%.2f %.0f)", kFaultNames[drawn.faults[k]], verdicts.injectors[k].level_db,
                            set[k].recording.common_share, set[k].recording.jitter_us);
            std::printf("\n");
        }
        if (fault == one_silent || v.verdict == InjectorVerdict::silent) continue;
        tally.missed_error.push_back(std::fabs(v.missed_percent - 100.0 * truth.missed / truth.due));
        if (std::isfinite(v.jitter_us)) tally.jitter_error.push_back(v.jitter_us / jitter_us - 1.0);
        if (talk && !(std::fabs(v.open_close_ms - spec.health[i].open_close_ms) < 0.1 &&
                      std::fabs(v.jitter_us / jitter_us - 1.0) < 0.2))
            std::printf("  off %llu c%zu oc %.2f(%.2f) jit %.0f(%.0f) level %.1f\n",
                        static_cast<unsigned long long>(seed), i + 1, v.open_close_ms, spec.health[i].open_close_ms,
                        v.jitter_us, jitter_us, v.level_db);
        tally.spacing_error_ms.push_back(
            std::isfinite(v.open_close_ms) ? std::fabs(v.open_close_ms - spec.health[i].open_close_ms) : 9.9);
    }
}

double share_within(const std::vector<double>& v, double limit) {
    int n = 0;
    for (const double x : v) n += std::fabs(x) <= limit ? 1 : 0;
    return v.empty() ? 0.0 : 100.0 * n / static_cast<double>(v.size());
}

}  // namespace

int main(int argc, char** argv) {
    const auto first = static_cast<std::uint64_t>(argc > 1 ? std::atoll(argv[1]) : 5000);
    const int sets = argc > 2 ? std::atoi(argv[2]) : 40;
    const std::string only = argc > 3 ? argv[3] : "";
    const bool talk = argc > 4;
    constexpr auto kSimultaneous = Injection::simultaneous;
    constexpr auto kGrouped = Injection::grouped;
    const SetCondition rows[] = {
        {.name = "sequential"},
        {.name = "simultaneous", .injection = kSimultaneous},
        {.name = "grouped, per cycle", .injection = kGrouped},
        {.name = "grouped, per turn", .injection = kGrouped, .group_each_turn = true},
        {.name = "sequential, no firing", .firing = false},
        {.name = "simult., no firing", .injection = kSimultaneous, .firing = false},
        {.name = "seq. 96 kHz", .rate_hz = 96000.0},
        {.name = "seq. 16 kHz", .rate_hz = 16000.0},
        {.name = "simult. 16 kHz", .injection = kSimultaneous, .rate_hz = 16000.0},
        {.name = "seq. 8 kHz", .rate_hz = 8000.0},
        {.name = "seq. 3 cylinders", .cylinders = 3},
        {.name = "seq. 6 cylinders", .cylinders = 6},
        {.name = "seq. 12 cylinders", .cylinders = 12},
        {.name = "seq. 0 dB", .snr_db = 0.0},
        {.name = "simult. 0 dB", .injection = kSimultaneous, .snr_db = 0.0},
        {.name = "seq., neighbours 0.35", .neighbour = 0.35},
        {.name = "simult., neighb. 0.15", .injection = kSimultaneous, .neighbour = 0.15},
        {.name = "seq., open +-40 us", .open_scatter_us = 40.0},
        {.name = "simult., open +-40 us", .injection = kSimultaneous, .open_scatter_us = 40.0},
        {.name = "seq., restless", .wander_rpm = 4.0},
        {.name = "simult., restless", .injection = kSimultaneous, .wander_rpm = 4.0},
        {.name = "seq. 8 cyl., restless", .cylinders = 8, .wander_rpm = 4.0},
        {.name = "other, seq.", .plain = true},
        {.name = "other, open +-40 us", .plain = true, .open_scatter_us = 40.0},
        {.name = "other, simult.", .injection = kSimultaneous, .plain = true},
        {.name = "other, grouped", .injection = kGrouped, .plain = true},
        {.name = "other, seq. 16 kHz", .rate_hz = 16000.0, .plain = true},
        {.name = "other, seq. 6 cyl.", .cylinders = 6, .plain = true},
        {.name = "other, hum and offset", .plain = true, .trouble = {.hum_db = 6.0, .offset = 0.05}},
        {.name = "other, fan, ticks", .plain = true, .trouble = {.fan_db = 0.0, .tick_db = -12.0}},
        {.name = "other, clipped", .plain = true, .trouble = {.drive = 8.0}},
    };
    std::printf("%d sets, 10-15 s each, 680-1100 rpm, from seed %llu; right verdicts in %%\n", sets,
                static_cast<unsigned long long>(first));
    std::printf("%-22s %7s %7s %7s %7s %7s %7s %7s | %6s %8s %8s %8s %8s %8s | %6s %6s\n", "", "all", "told", "regular",
                "missing", "silent", "weak", "spacing", "sil>re", "3%>0", "miss<1pt", "oc<.1ms", "jit<20%", "jitbias",
                "x-all", "x-own");
    for (const auto& row : rows) {
        if (row.name.find(only) == std::string::npos) continue;
        Tally t;
        for (int k = 0; k < sets; ++k) run_set(row, first + static_cast<std::uint64_t>(k), t, talk);
        int asked = 0;
        int right = 0;
        std::string cells;
        for (int f = 0; f < fault_count; ++f) {
            asked += t.asked[f];
            right += t.right[f];
            char cell[16];
            std::snprintf(cell, sizeof cell, " %7.1f", 100.0 * t.right[f] / std::max(1, t.asked[f]));
            cells += cell;
        }
        std::printf("%-22s %7.1f %7.1f%s | %6d %5.1f/%-3d %7.1f %8.1f %8.1f %8.2f | %6.0f %6.0f\n", row.name.c_str(),
                    100.0 * right / asked, 100.0 * t.told_right / std::max(1, t.told), cells.c_str(), t.silent_regular,
                    100.0 * t.three_found / std::max(1, t.three), t.three, share_within(t.missed_error, 1.0),
                    share_within(t.spacing_error_ms, 0.1), share_within(t.jitter_error, 0.2),
                    t.jitter_error.empty() ? 0.0 : stats::median(t.jitter_error),
                    t.sound_s / (t.tracker_s + t.clicks_s), t.sound_s / t.clicks_s);
        std::fflush(stdout);
        const auto share = [&](int f) { return t.asked[f] ? 100.0 * t.right[f] / t.asked[f] : std::nan(""); };
        bench::keep_row("injectors", row.name,
                        {{"injectors", static_cast<double>(asked)},
                         {"right_percent", 100.0 * right / asked},
                         {"right_where_told_percent", 100.0 * t.told_right / std::max(1, t.told)},
                         {"regular_percent", share(no_fault)},
                         {"missing_percent", share(one_misses)},
                         {"silent_percent", share(one_silent)},
                         {"weak_percent", share(one_weak)},
                         {"spacing_percent", share(one_spaced)},
                         {"silent_called_regular", static_cast<double>(t.silent_regular)},
                         {"missed_within_1_point_percent", share_within(t.missed_error, 1.0)},
                         {"opening_within_100_us_percent", share_within(t.spacing_error_ms, 0.1)},
                         {"jitter_within_fifth_percent", share_within(t.jitter_error, 0.2)},
                         {"times_real_time", t.sound_s / (t.tracker_s + t.clicks_s)}});
    }
}
