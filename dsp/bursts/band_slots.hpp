#pragma once

#include "dsp/real_fft.hpp"
#include "dsp/units.hpp"

#include <array>
#include <complex>
#include <cstdint>
#include <vector>

namespace idlehark {

/// What 20 ms of sound hold, band by band.
struct BandSlot {
    static constexpr std::size_t kLow = 3;    ///< bands of the engine's body, 150 Hz..1.9 kHz: hiss barely touches them
    static constexpr std::size_t kUpper = 7;  ///< bands from 2 kHz up, as many as the sampling rate allows
    static constexpr std::size_t kBands = kLow + kUpper;

    std::array<float, kBands> level_db{};  ///< mean over the 10 ms frames of the log power; full-scale sine: 0 dB
    /// Per upper band, over its bins of power p: mean p_i^2 and mean p_i p_(i+2), both over (sum p)^2. Their ratio is
    /// about 2 for noise of any smooth spectrum and large for tones.
    std::array<float, kUpper> own{};
    std::array<float, kUpper> neighbour{};
    float upper_power = 0.0F;  ///< mean power of all upper bands together
    bool silent = false;       ///< holds digital silence: no level to speak of
};

/// Cuts sound into 20 ms slots of band levels: two windowed 10 ms frames a slot, one short transform each.
/// Input    mono float at the rate given, any block length; values that are not finite are heard as 0.
/// Output   slot k covers k * 20 ms .. (k + 1) * 20 ms of the recording, to the nearest sample.
/// Errors   constructor: std::invalid_argument for a rate outside 8000..192000 Hz.
class BandSlots {
   public:
    static constexpr double kSlot_s = 0.02;

    explicit BandSlots(double sample_rate_hz);
    /// Upper bands below the Nyquist frequency: 2 at 8 kHz, 4 at 16 kHz, 7 from 38.3 kHz.
    [[nodiscard]] std::size_t upper_bands() const noexcept { return upper_bands_; }
    /// Takes all of `x`; calls `sink(const BandSlot&)` for each slot completed.
    template <class Sink>
    void process(AudioView x, Sink&& sink) {
        for (const float v : x)
            if (take(v)) sink(slot_);
    }
    void reset() noexcept;

   private:
    bool take(float v) noexcept;
    void add_frame() noexcept;
    [[nodiscard]] std::uint64_t end_of_frame(std::uint64_t frame) const noexcept;

    double rate_hz_;
    RealFft fft_;
    std::vector<float> window_;
    std::vector<float> held_;  ///< samples of the frame being filled
    std::vector<float> frame_;
    std::vector<std::complex<float>> spectrum_;
    std::array<std::array<std::size_t, 2>, BandSlot::kBands> bins_{};  ///< first bin, one past the last
    std::size_t upper_bands_ = 0;
    std::size_t filled_ = 0;
    std::uint64_t samples_ = 0;
    std::uint64_t frames_ = 0;
    std::uint64_t frame_end_ = 0;  ///< sample at which the frame being filled is full
    BandSlot building_;
    BandSlot slot_;
};

}  // namespace idlehark
