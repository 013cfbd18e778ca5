#include "dsp/engine.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace idlehark {

namespace {
[[noreturn]] void refuse(const std::string& text) { throw std::invalid_argument(text); }

double crank_turns_per_cycle(const Engine& e) noexcept { return e.strokes == 2 ? 1.0 : 2.0; }
}  // namespace

double cycle_deg(const Engine& e) noexcept { return 360.0 * crank_turns_per_cycle(e); }

std::vector<double> firing_fractions(const Engine& e) {
    const auto n = static_cast<std::size_t>(e.cylinders);
    std::vector<double> at(n);
    for (std::size_t i = 0; i < n; ++i)
        at[i] = e.firing_angles_deg.empty() ? static_cast<double>(i) / static_cast<double>(n)
                                            : e.firing_angles_deg[i] / cycle_deg(e);
    return at;
}

Hertz cycle_frequency(const Engine& e, Rpm speed) noexcept {
    return Hertz{speed.value / (60.0 * crank_turns_per_cycle(e))};
}

Hertz firing_frequency(const Engine& e, Rpm speed) noexcept {
    return Hertz{cycle_frequency(e, speed).value * e.cylinders};
}

Rpm speed_from_cycle_frequency(const Engine& e, Hertz cycle) noexcept {
    return Rpm{cycle.value * 60.0 * crank_turns_per_cycle(e)};
}

std::vector<std::vector<int>> cylinder_banks(const Engine& e) {
    if (!e.banks.empty()) return e.banks;
    std::vector<std::vector<int>> banks(e.cylinders >= 8 && e.cylinders % 2 == 0 ? 2 : 1);
    const int each = e.cylinders / static_cast<int>(banks.size());
    for (int c = 1; c <= e.cylinders; ++c) banks[static_cast<std::size_t>((c - 1) / each)].push_back(c);
    return banks;
}

void check(const Engine& e) {
    if (e.cylinders < 1 || e.cylinders > 12) refuse("cylinders: " + std::to_string(e.cylinders) + " is not in 1..12");
    if (e.strokes != 2 && e.strokes != 4) refuse("strokes: " + std::to_string(e.strokes) + " is not 2 or 4");
    const auto n = static_cast<std::size_t>(e.cylinders);
    if (!e.firing_order.empty()) {
        auto sorted = e.firing_order;
        std::sort(sorted.begin(), sorted.end());
        bool permutation = sorted.size() == n;
        for (std::size_t i = 0; permutation && i < n; ++i) permutation = sorted[i] == static_cast<int>(i) + 1;
        if (!permutation) refuse("firing_order: must name each cylinder 1.." + std::to_string(n) + " exactly once");
    }
    if (!e.firing_angles_deg.empty()) {
        if (e.firing_angles_deg.size() != n)
            refuse("firing_angles_deg: " + std::to_string(e.firing_angles_deg.size()) + " angles for " +
                   std::to_string(n) + " cylinders");
        if (e.firing_angles_deg.front() != 0.0) refuse("firing_angles_deg: the first angle must be 0");
        for (std::size_t i = 0; i < n; ++i) {
            const double a = e.firing_angles_deg[i];
            if (!std::isfinite(a) || a < 0.0 || a >= cycle_deg(e))
                refuse("firing_angles_deg: " + std::to_string(a) + " is not in 0.." +
                       std::to_string(static_cast<int>(cycle_deg(e))));
            if (i > 0 && a <= e.firing_angles_deg[i - 1]) refuse("firing_angles_deg: angles must ascend");
        }
    }
    if (!(std::isfinite(e.idle_low_rpm) && std::isfinite(e.idle_high_rpm) && e.idle_low_rpm >= 150.0 &&
          e.idle_high_rpm <= 12000.0 && e.idle_low_rpm < e.idle_high_rpm))
        refuse("idle_rpm: needs two speeds, low before high, within 150..12000");
    std::vector<bool> grouped(n, false);
    for (const auto& group : e.injection_groups)
        for (const int c : group) {
            if (c < 1 || c > e.cylinders)
                refuse("groups: cylinder " + std::to_string(c) + " is not in 1.." + std::to_string(n));
            if (grouped[static_cast<std::size_t>(c - 1)])
                refuse("groups: cylinder " + std::to_string(c) + " is in two groups");
            grouped[static_cast<std::size_t>(c - 1)] = true;
        }
    if (e.banks.empty()) return;
    if (e.banks.size() > 2) refuse("banks: " + std::to_string(e.banks.size()) + " rows of cylinders; 1 or 2 are known");
    std::vector<int> in_banks;
    for (const auto& bank : e.banks) in_banks.insert(in_banks.end(), bank.begin(), bank.end());
    std::sort(in_banks.begin(), in_banks.end());
    bool each_once = in_banks.size() == n;
    for (std::size_t i = 0; each_once && i < n; ++i) each_once = in_banks[i] == static_cast<int>(i) + 1;
    if (!each_once) refuse("banks: must name each cylinder 1.." + std::to_string(n) + " exactly once");
}

}  // namespace idlehark
