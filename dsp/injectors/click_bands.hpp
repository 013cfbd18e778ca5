#pragma once

#include "dsp/units.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

struct FrequencyRange {
    double low_hz, high_hz;
};

/// Short-time power in bands about 1 kHz wide, the raw material of the click finder.
struct ClickBands {
    double hop_s = 0.0;             ///< frame k is centred at k * hop_s
    std::vector<double> centre_hz;  ///< one per band, 2 kHz up to 18 kHz or 0.46 of the rate
    std::vector<double> floor;      ///< median power of each band, in the samples' own scale; > 0
    std::vector<float> over_floor;  ///< frames x bands: power divided by the band's floor

    static constexpr double kWindow_s = 1e-3;  ///< of a frame

    [[nodiscard]] std::size_t bands() const noexcept { return centre_hz.size(); }
    [[nodiscard]] std::size_t frames() const noexcept { return bands() == 0 ? 0 : over_floor.size() / bands(); }
    /// What all bands hear, half a band beyond the outer centres; of two bands at least.
    [[nodiscard]] FrequencyRange range() const {
        const double half_hz = 0.5 * (centre_hz[1] - centre_hz[0]);
        return {centre_hz.front() - half_hz, centre_hz.back() + half_hz};
    }
    [[nodiscard]] std::span<const float> frame(std::size_t k) const {
        return std::span{over_floor}.subspan(k * bands(), bands());
    }
};

/// What lies between values at rising frequencies (two at least): linear, and constant beyond both ends.
[[nodiscard]] double between_bands(std::span<const double> centre_hz, std::span<const double> values, double hz);

/// Hann windows of 1 ms, 0.5 ms apart, of the sound above 1.9 kHz (fourth order): the rumble, some 40 dB above
/// the clicks, does not leak up.
/// Input    8..192 kHz; values that are not finite count as 0.
[[nodiscard]] ClickBands click_bands(AudioView x, double sample_rate_hz);

/// Click strength per frame: ln(1 + weighted mean of the bands over their floors). Weights empty: all 1.
[[nodiscard]] std::vector<float> click_strength(const ClickBands& bands, std::span<const double> weights);

}  // namespace idlehark
