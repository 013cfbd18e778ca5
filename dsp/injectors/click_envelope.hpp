#pragma once

#include "dsp/nearest_whole.hpp"
#include "dsp/units.hpp"

#include <complex>
#include <span>
#include <vector>

namespace idlehark {

/// A count of grid steps, not negative, as a place in what was read.
[[nodiscard]] constexpr std::size_t index(std::ptrdiff_t steps) noexcept { return static_cast<std::size_t>(steps); }

/// A stretch of a complex signal, its parts by themselves.
struct Wave {
    std::vector<float> re, im;
    explicit Wave(std::size_t n = 0) : re(n), im(n) {}
    [[nodiscard]] std::size_t size() const noexcept { return re.size(); }
};

/// The click band of a recording as a complex signal, moved down by the band's centre, read on a fine grid: its
/// squared magnitude is the envelope.
/// Input    weights: power gain at rising frequencies; at least two; between them linear, constant half a step beyond,
///          then 0.
/// Output   2 * reach + 1 values kStep_s apart about a time, or fewer of them; what lies outside the recording is
///          silence.
/// Threads  one owner.
class ClickEnvelope {
   public:
    static constexpr double kStep_s = 5e-5;
    [[nodiscard]] static constexpr int steps(double s) { return static_cast<int>(nearest_whole(s / kStep_s)); }

    ClickEnvelope(AudioView x, double sample_rate_hz, std::span<const double> frequencies_hz,
                  std::span<const double> weights, int reach);
    [[nodiscard]] Wave read(double time_s) const { return read(time_s, 0, size()); }
    /// Of the values those from the `from`-th on.
    [[nodiscard]] Wave read(double time_s, std::size_t from, std::size_t count) const;
    [[nodiscard]] std::size_t size() const noexcept { return index(2 * reach_ + 1); }
    /// The band's centre: frequency 0 of what is read.
    [[nodiscard]] double centre_hz() const noexcept { return centre_hz_; }

   private:
    int reach_;
    double centre_hz_ = 0.0;
    double base_hz_ = 0.0;                   ///< rate of the signal below
    std::vector<std::complex<float>> base_;  ///< the whole recording
};

}  // namespace idlehark
