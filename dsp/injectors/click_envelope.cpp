#include "dsp/injectors/click_envelope.hpp"

#include "dsp/injectors/click_bands.hpp"
#include "dsp/read_stretch.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/turned.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace idlehark {

namespace {
constexpr double kMargin_s = 2e-3;    // each side of a block: the filter's own ringing and the wrap of the transform
constexpr double kBase_hz = 32000.0;  // twice the widest click band, so that four points tell what lies between
constexpr std::size_t kBlock = 2048;  // of the signal that was moved down
constexpr std::size_t kCommon = 128;  // divides the blocks of both rates, so that they can be laid side by side

/// Power gain by frequency, as the header has it.
class BandGain {
   public:
    BandGain(std::span<const double> f, std::span<const double> w) : f_(f), w_(w), half_(0.5 * (f[1] - f[0])) {}
    [[nodiscard]] double amplitude(double hz) const {
        if (hz < f_.front() - half_ || hz > f_.back() + half_) return 0.0;
        return std::sqrt(std::max(0.0, between_bands(f_, w_, hz)));
    }

   private:
    std::span<const double> f_, w_;
    double half_;
};
}  // namespace

ClickEnvelope::ClickEnvelope(AudioView x, double sample_rate_hz, std::span<const double> frequencies_hz,
                             std::span<const double> weights, int reach)
    : reach_(reach) {
    constexpr std::size_t kShares = kBlock / kCommon;
    const std::size_t n = kCommon * RealFft::good_size(static_cast<std::size_t>(
                                        std::ceil(static_cast<double>(kShares) * sample_rate_hz / kBase_hz)));
    RealFft fft{n};
    RealFft low{kBlock};
    base_hz_ = sample_rate_hz * static_cast<double>(kBlock) / static_cast<double>(n);

    // With as many zeros on both sides as the move down may reach beyond the spectrum.
    const std::size_t beside = low.bins();
    const BandGain band{frequencies_hz, weights};
    std::vector<float> gain(fft.bins() + 2 * beside);
    double sum = 0.0;
    double moment = 0.0;
    for (std::size_t b = 0; b < fft.bins(); ++b) {
        const double a = band.amplitude(static_cast<double>(b) * sample_rate_hz / static_cast<double>(n));
        gain[beside + b] = static_cast<float>(0.5 * a / static_cast<double>(n));
        sum += a;
        moment += a * static_cast<double>(b);
    }
    const auto centre = static_cast<std::size_t>(sum > 0.0 ? std::lround(moment / sum) : 0);
    centre_hz_ = static_cast<double>(centre) * sample_rate_hz / static_cast<double>(n);

    // Blocks start where a sample of either rate lies.
    const std::size_t common = std::gcd(n, kBlock);
    const std::size_t unit = n / common;
    const auto margin = static_cast<std::size_t>(std::ceil(kMargin_s * sample_rate_hz / static_cast<double>(unit)));
    const std::size_t hop = common - 2 * margin;  // in units
    const std::size_t low_unit = kBlock / common;
    base_.assign((x.size() / unit + 2) * low_unit, 0.F);
    std::vector<float> segment(n), real(kBlock), imaginary(kBlock);
    std::vector<std::complex<float>> spectrum(gain.size()), re(low.bins()), im(low.bins());
    for (std::size_t from = 0; from * low_unit < base_.size(); from += hop) {
        const auto first = static_cast<std::ptrdiff_t>(from * unit) - static_cast<std::ptrdiff_t>(margin * unit);
        read_stretch(x, first, segment);
        fft.forward(segment, std::span{spectrum}.subspan(beside, fft.bins()));
        for (std::size_t k = 0; k < low.bins(); ++k) {  // moved down by the centre
            const std::size_t above = beside + centre + k;
            const std::size_t below = beside + centre - k;
            const auto up = gain[above] * spectrum[above];
            const auto down = gain[below] * std::conj(spectrum[below]);
            re[k] = up + down;
            im[k] = {up.imag() - down.imag(), down.real() - up.real()};
        }
        low.inverse(re, real);
        low.inverse(im, imaginary);
        // The blocks' phases must fit: the centre's own turning since the start of the recording is taken out.
        const auto turn = std::complex<float>(
            turned(static_cast<double>(centre) * static_cast<double>(first) / static_cast<double>(n)));
        const std::size_t count = std::min(hop * low_unit, base_.size() - from * low_unit);
        for (std::size_t i = 0; i < count; ++i) {
            const std::size_t j = margin * low_unit + i;
            base_[from * low_unit + i] = {real[j] * turn.real() - imaginary[j] * turn.imag(),
                                          real[j] * turn.imag() + imaginary[j] * turn.real()};
        }
    }
}

Wave ClickEnvelope::read(double time_s, std::size_t from, std::size_t count) const {
    Wave out{count};
    const double step = kStep_s * base_hz_;
    const double first = time_s * base_hz_ + (static_cast<double>(from) - reach_) * step;
    const double end = static_cast<double>(base_.size()) - 2.0;
    for (std::size_t i = 0; i < count; ++i) {
        const double place = first + static_cast<double>(i) * step;
        if (!(place >= 1.0 && place < end)) continue;
        // Lagrange's cubic through the four points about the place.
        const auto k = static_cast<std::ptrdiff_t>(place);
        const auto t = static_cast<float>(place - static_cast<double>(k));
        const float a = -t * (t - 1.F) * (t - 2.F) / 6.F;
        const float b = (t + 1.F) * (t - 1.F) * (t - 2.F) / 2.F;
        const float c = -(t + 1.F) * t * (t - 2.F) / 2.F;
        const float d = (t + 1.F) * t * (t - 1.F) / 6.F;
        const auto* z = base_.data() + k;
        out.re[i] = a * z[-1].real() + b * z[0].real() + c * z[1].real() + d * z[2].real();
        out.im[i] = a * z[-1].imag() + b * z[0].imag() + c * z[1].imag() + d * z[2].imag();
    }
    return out;
}

}  // namespace idlehark
