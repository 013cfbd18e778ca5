#pragma once

#include "dsp/injectors/injector_set.hpp"
#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/random.hpp"
#include "tests/plain_probe.hpp"

#include <string>
#include <vector>

namespace idlehark::test {

enum Fault { no_fault, one_misses, one_silent, one_weak, one_spaced, fault_count };
inline constexpr const char* kFaultNames[fault_count] = {"regular", "missing", "silent", "weak", "spacing"};

inline InjectorVerdict wanted(Fault f) {
    switch (f) {
        case no_fault:
            return InjectorVerdict::regular;
        case one_misses:
            return InjectorVerdict::missing_clicks;
        case one_silent:
            return InjectorVerdict::silent;
        default:
            return InjectorVerdict::differs;
    }
}

struct SetCondition {
    std::string name;
    Injection injection = Injection::sequential;
    double rate_hz = 48000.0;
    double snr_db = 6.0;
    double neighbour = 0.25;
    bool firing = true;
    int cylinders = 4;
    bool plain = false;  ///< the other simulated probe
    bool group_each_turn = false;
    ProbeTrouble trouble{};  ///< of the other simulated probe
    double open_scatter_us = 0.0;
    double wander_rpm = 1.0;  ///< of the crank from cycle to cycle
};

/// A set of injectors with none to three in four odd ones, 680-1100 rpm.
struct DrawnSet {
    sim::InjectorProbeSpec spec;
    std::vector<Fault> faults;
    std::vector<sim::SpeedPathSpec> paths;
    double jitter_us = 0.0;
};

inline DrawnSet draw_set(const SetCondition& condition, std::uint64_t seed) {
    static const std::vector<std::vector<int>> kOrders{{1, 2, 3},
                                                       {1, 3, 4, 2},
                                                       {1, 2, 4, 5, 3},
                                                       {1, 5, 3, 6, 2, 4},
                                                       {1, 8, 4, 3, 6, 5, 7, 2},
                                                       {1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10}};
    auto random = sim::sub_stream(seed, "injectors bench");
    DrawnSet set;
    const double mean_rpm = sim::uniform(random, 680.0, 1100.0);
    const double spacing_ms = sim::uniform(random, 1.8, 4.5);
    set.jitter_us = sim::uniform(random, 50.0, 250.0);
    auto& spec = set.spec;
    const auto n = static_cast<std::size_t>(condition.cylinders);
    spec.engine.cylinders = condition.cylinders;
    for (const auto& order : kOrders)
        if (order.size() == n) spec.engine.firing_order = order;
    spec.engine.idle_low_rpm = 650.0;
    spec.engine.idle_high_rpm = 1150.0;
    spec.engine.injection = condition.injection;
    if (condition.injection == Injection::grouped) {
        const auto& order = spec.engine.firing_order;
        spec.engine.injection_groups.resize(2);
        for (std::size_t i = 0; i < n; ++i) spec.engine.injection_groups[i / ((n + 1) / 2)].push_back(order[i]);
    }
    spec.group_each_turn = condition.group_each_turn;
    spec.sample_rate_hz = condition.rate_hz;
    spec.seed = seed;
    spec.snr_db = condition.snr_db;
    spec.neighbour_level = condition.neighbour;
    spec.firing_heard = condition.firing;
    spec.health.resize(n);
    set.faults.assign(n, no_fault);
    const auto odd = random() % (3 * n / 4 + 1);
    for (std::size_t k = 0; k < odd; ++k) {
        const auto which = random() % n;
        set.faults[which] = static_cast<Fault>(1 + random() % (fault_count - 1));
    }
    for (std::size_t c = 0; c < n; ++c) {
        auto& h = spec.health[c];
        h.open_close_ms = spacing_ms * (1.0 + 0.01 * sim::gaussian(random));
        h.jitter_us = set.jitter_us;
        h.open_close_scatter_us = condition.open_scatter_us;
        if (set.faults[c] == one_misses)
            h.miss_probability = sim::uniform(random, 0.0, 1.0) < 0.4 ? 0.03 : sim::uniform(random, 0.05, 0.4);
        if (set.faults[c] == one_silent) h.level = 0.0;
        if (set.faults[c] == one_weak) h.level = sim::uniform(random, 0.4, 0.5);
        if (set.faults[c] == one_spaced) h.open_close_ms = spacing_ms * (random() % 2 == 0 ? 1.35 : 0.7);
    }
    for (std::size_t c = 1; c <= n; ++c) {
        sim::SpeedPathSpec path;
        path.duration_s = sim::uniform(random, 10.0, 15.0);
        path.mean_rpm = mean_rpm;
        path.seed = sim::sub_seed(seed, "path " + std::to_string(c));
        path.hunting_rpm = 8.0;
        path.wander_rpm = condition.wander_rpm;
        set.paths.push_back(path);
    }
    return set;
}

/// Whether more injectors of a set share the right opening time than any wrong one; where not, sound cannot tell which
/// of them are the odd ones.
inline bool opening_time_told(const DrawnSet& set) {
    const auto& health = set.spec.health;
    double right_ms = 0.0;
    int right = 0, shorter = 0, longer = 0;
    for (std::size_t c = 0; c < health.size(); ++c)
        if (set.faults[c] != one_silent && set.faults[c] != one_spaced) {
            right_ms = health[c].open_close_ms;
            ++right;
        }
    for (std::size_t c = 0; c < health.size(); ++c)
        if (set.faults[c] == one_spaced) ++(health[c].open_close_ms > right_ms ? longer : shorter);
    return right > std::max(shorter, longer);
}

inline sim::InjectorProbe record(const DrawnSet& set, const SetCondition& condition, int cylinder) {
    auto spec = set.spec;
    spec.cylinder = cylinder;
    const sim::SpeedPath path{set.paths[static_cast<std::size_t>(cylinder - 1)]};
    return condition.plain ? record_plain_probe(spec, path, condition.trouble) : sim::record_injector(spec, path);
}

}  // namespace idlehark::test
