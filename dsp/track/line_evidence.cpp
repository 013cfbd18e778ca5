#include "dsp/track/line_evidence.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace idlehark {

namespace {
constexpr double kAbsent = 0.35;  // prior shares of what a comb's line may be
constexpr double kFaint = 0.35;
constexpr double kFaintGain = 4.0;  // mean power over the floor, less one
constexpr double kStrongGain = 30.0;
constexpr double kMostRatio = 7.0;
constexpr std::size_t kSteps = 224;

struct Table {
    std::array<float, kSteps + 1> value{};
    double noise_mean = 0.0;
    Table() {
        constexpr double kStep = kMostRatio / kSteps;
        for (std::size_t i = 0; i <= kSteps; ++i) {
            const double r = kStep * static_cast<double>(i);
            const auto line = [r](double gain) { return std::exp(r * gain / (1.0 + gain)) / (1.0 + gain); };
            const double l =
                std::log(kAbsent + kFaint * line(kFaintGain) + (1.0 - kAbsent - kFaint) * line(kStrongGain));
            value[i] = static_cast<float>(l);
            noise_mean += l * (std::exp(-r) - (i < kSteps ? std::exp(-r - kStep) : 0.0));
        }
    }
};
const Table kTable;

float look_up(float power_over_floor) noexcept {
    constexpr auto kScale = static_cast<float>(kSteps / kMostRatio);
    const float at = std::clamp(power_over_floor * kScale, 0.F, static_cast<float>(kSteps));
    return kTable.value[static_cast<std::size_t>(static_cast<std::int32_t>(at))];
}
}  // namespace

float line_evidence(float power_over_floor) noexcept { return look_up(power_over_floor); }

void line_evidence(std::span<const float> power_over_floor, std::span<float> evidence) noexcept {
    for (std::size_t i = 0; i < power_over_floor.size(); ++i) evidence[i] = look_up(power_over_floor[i]);
}

float mean_evidence_of_noise() noexcept { return static_cast<float>(kTable.noise_mean); }

}  // namespace idlehark
