#include "dsp/evidence/response_bank.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace idlehark::evidence {

namespace {

constexpr double kFine_s = 0.02;
constexpr double kLongest_s = 30.0;
constexpr double kWorthKeeping = 0.02;
constexpr double kRise_s = 0.6;
constexpr double kStepWatched_s = 12.0;
constexpr double kRegulatedShare =
    0.15;  // prior of a valve that takes the change back when the engine file says it has none

}  // namespace

std::vector<double> sampled(const ResponseShape& s, double step_s, double smoothing_s) {
    // Fine samples from before the beginning (the smoothing reaches ahead) to the end.
    const double early_s = 0.5 * (step_s + smoothing_s) + kFine_s;
    const auto lead = static_cast<std::size_t>(std::ceil(early_s / kFine_s));
    std::vector<double> fine(lead + static_cast<std::size_t>(kLongest_s / kFine_s), 0.0);
    double largest = 0.0, valve = 0.0;
    const double follow = s.regulation_s > 0.0 ? -std::expm1(-kFine_s / s.regulation_s) : 0.0;
    for (std::size_t i = lead; i < fine.size(); ++i) {
        const double t = static_cast<double>(i - lead) * kFine_s;
        const double raw = t < s.hold_s ? std::expm1(-t / s.rise_s) / std::expm1(-s.hold_s / s.rise_s)
                                        : std::exp(-(t - s.hold_s) / s.decay_s);
        fine[i] = raw - valve;
        valve += follow * (raw - valve);
        largest = std::max(largest, std::abs(raw));
    }
    // The tracker's window and the cell are both boxes: a running mean of one, then of the other.
    const auto box = [&](double width_s) {
        const auto half = static_cast<long>(std::lround(0.5 * width_s / kFine_s));
        if (half < 1) return;
        std::vector<double> sums(fine.size() + 1, 0.0);
        for (std::size_t i = 0; i < fine.size(); ++i) sums[i + 1] = sums[i] + fine[i];
        for (long i = 0; i < static_cast<long>(fine.size()); ++i) {
            const auto from = static_cast<std::size_t>(std::max(0L, i - half));
            const auto to = static_cast<std::size_t>(std::min(static_cast<long>(fine.size()), i + half + 1));
            fine[static_cast<std::size_t>(i)] = (sums[to] - sums[from]) / static_cast<double>(2 * half + 1);
        }
    };
    box(step_s);
    box(smoothing_s);
    std::vector<double> out;
    for (double t = static_cast<double>(lead) * kFine_s; t < static_cast<double>(fine.size() - 1) * kFine_s;
         t += step_s)
        out.push_back(fine[static_cast<std::size_t>(std::lround(t / kFine_s))] / largest);
    while (out.size() > 5 && std::abs(out.back()) < kWorthKeeping) out.pop_back();
    return out;
}

double step_risen(double t_s, double rise_s) { return t_s <= 0.0 ? 0.0 : -std::expm1(-t_s / rise_s); }

std::vector<double> lasting_step(double rise_s, double step_s) {
    std::vector<double> shape;
    for (double t = 0.5 * step_s; t < kStepWatched_s; t += step_s) shape.push_back(step_risen(t, rise_s));
    return shape;
}

std::vector<WeightedShape> response_bank(bool regulated) {
    std::vector<WeightedShape> free_running, taken_back;
    for (const double hold_s : {0.7, 1.5, 3.0})
        for (const double decay_s : {1.5, 3.0, 5.0, 9.0})
            free_running.push_back({{hold_s, kRise_s, decay_s, 0.0}, 1.0});
    for (const double hold_s : {0.7, 1.5})
        for (const double decay_s : {3.0, 6.0})
            for (const double regulation_s : {2.0, 4.0})
                taken_back.push_back({{hold_s, kRise_s, decay_s, regulation_s}, 1.0});
    const double share = regulated ? 1.0 - kRegulatedShare : kRegulatedShare;
    std::vector<WeightedShape> bank;
    for (auto w : free_running) {
        w.weight = (1.0 - share) / static_cast<double>(free_running.size());
        bank.push_back(w);
    }
    for (auto w : taken_back) {
        w.weight = share / static_cast<double>(taken_back.size());
        bank.push_back(w);
    }
    return bank;
}

}  // namespace idlehark::evidence
