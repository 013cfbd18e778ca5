#pragma once

#include "dsp/real_fft.hpp"
#include "dsp/track/front_end.hpp"
#include "dsp/units.hpp"

#include <complex>
#include <optional>
#include <vector>

namespace idlehark {

/// One sound as a low waveform and as the power of some bands, all on one slow grid.
/// Input    mono float at 8..192 kHz, any block length; values that are not finite are heard as silence.
/// Output   `waveform` 60..4400 Hz at waveform_hz(); `power[b]` squared envelope of a band at 1 / spacing_s, each the
///          mean over its step. Sample i of a power is centred on (i + 0.5) * spacing_s, of the waveform on
///          i / waveform_hz().
/// Accuracy edges are raised cosines of a quarter of the band's width or 60 Hz, whichever is less; the numbers do not
///          depend on the blocks.
/// Errors   constructor: std::invalid_argument for a rate outside 8000..192000 Hz.
class BandSplit {
   public:
    struct Edges {
        double low_hz, high_hz;
    };
    /// Five bands from 150 Hz to 2.4 kHz. Above them the ticks of valves and injectors speak, which a weak or missing
    /// combustion leaves as they are.
    [[nodiscard]] static std::vector<Edges> low_bands();
    /// Rates above `kept_hz` are brought down to it or a little more first.
    static constexpr std::size_t kWavePerStep = 5;  ///< samples of the waveform in a step of the powers
    explicit BandSplit(double sample_rate_hz, double kept_hz = 16000.0, const std::vector<Edges>& bands = low_bands());
    void process(AudioView x);
    void finish();

    [[nodiscard]] double spacing_s() const noexcept { return spacing_s_; }
    [[nodiscard]] double waveform_hz() const noexcept { return static_cast<double>(kWavePerStep) / spacing_s_; }
    [[nodiscard]] const std::vector<Edges>& bands() const noexcept { return edges_; }
    [[nodiscard]] const std::vector<std::vector<float>>& power() const noexcept { return power_; }
    [[nodiscard]] const std::vector<float>& waveform() const noexcept { return waveform_; }

   private:
    void take(float v);
    void block();

    std::size_t keep_every_;
    double rate_hz_;  ///< kept
    std::optional<Decimator> decimator_;
    std::size_t length_, hop_, steps_;  ///< samples of a block, kept of it, and power steps of the whole block
    double spacing_s_;
    RealFft fft_, low_fft_;
    std::vector<Edges> edges_;
    struct Band {
        std::size_t first = 0;
        std::vector<float> gain;  ///< of the bins from `first`
        std::size_t group = 1;    ///< samples of the small transform per step
        RealFft small;
    };
    std::vector<Band> bands_;
    Band low_;
    std::vector<float> in_, re_, im_;
    std::size_t filled_;
    std::uint64_t real_samples_ = 0;
    std::vector<std::complex<float>> bins_, part_;
    std::vector<std::vector<float>> power_;
    std::vector<float> waveform_, clean_;
};

}  // namespace idlehark
