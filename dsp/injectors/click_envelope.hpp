#pragma once

#include "dsp/real_fft.hpp"
#include "dsp/units.hpp"

#include <complex>
#include <span>
#include <vector>

namespace idlehark {

/// The click band of a stretch of sound as a complex signal, moved down by the band's centre, on a fine grid: its
/// squared magnitude is the envelope.
/// Input    weights: power gain at rising frequencies; at least two; between them linear, constant half a step beyond,
///          then 0.
/// Output   2 * reach + 1 values kStep_s apart about a time; what lies outside the recording is silence.
/// Threads  one owner.
class ClickEnvelope {
   public:
    static constexpr double kStep_s = 5e-5;

    ClickEnvelope(AudioView x, double sample_rate_hz, std::span<const double> frequencies_hz,
                  std::span<const double> weights, int reach);
    void read(double time_s, std::span<std::complex<float>> out);
    [[nodiscard]] std::size_t size() const noexcept { return static_cast<std::size_t>(2 * reach_ + 1); }

   private:
    AudioView x_;
    double rate_hz_;
    int reach_;
    RealFft fft_;
    std::vector<float> gain_;
    std::vector<float> segment_, real_, imaginary_;
    std::vector<std::complex<float>> base_, down_, spectrum_;
};

}  // namespace idlehark
