#include "dsp/injectors/mean_power.hpp"

#include "dsp/read_stretch.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/turned.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>

namespace idlehark {

namespace {

constexpr double kMargin_s = 2e-3;  // each side: the fade, and what the band makes of it
constexpr double kFade_s = 1e-3;
constexpr double kStep_s = 12.5e-6;
constexpr double kStop = std::numbers::ln10;  // ln of how far the filter whose phase is taken goes down: 20 dB
}  // namespace

PowerCourse mean_power(AudioView x, double sample_rate_hz, FrequencyRange band, std::span<const double> times_s,
                       double from_s, double to_s) {
    RealFft fft{
        RealFft::good_size(static_cast<std::size_t>(std::ceil((to_s - from_s + 2.0 * kMargin_s) * sample_rate_hz)))};
    const std::size_t n = fft.size();
    const auto window = faded_window(n, static_cast<std::size_t>(kFade_s * sample_rate_hz));

    // The sum over all clicks, each turned by its fraction of a sample.
    std::vector<float> segment(n);
    std::vector<std::complex<float>> bins(fft.bins());
    std::vector<double> sum_re(fft.bins()), sum_im(fft.bins());
    for (const double t : times_s) {
        const double place = (t + from_s - kMargin_s) * sample_rate_hz;
        const double first = std::floor(place);
        read_stretch(x, static_cast<std::ptrdiff_t>(first), segment);
        std::transform(segment.begin(), segment.end(), window.begin(), segment.begin(), std::multiplies<>{});
        fft.forward(segment, bins);
        const auto turn = std::conj(turned((place - first) / static_cast<double>(n)));
        // By parts: a product of std::complex looks for infinities each time.
        double re = 1.0 / static_cast<double>(n * times_s.size());
        double im = 0.0;
        for (std::size_t b = 0; b < bins.size(); ++b) {
            const auto br = static_cast<double>(bins[b].real());
            const auto bi = static_cast<double>(bins[b].imag());
            sum_re[b] += re * br - im * bi;
            sum_im[b] += re * bi + im * br;
            const double next = re * turn.real() - im * turn.imag();
            im = re * turn.imag() + im * turn.real();
            re = next;
        }
    }

    const double high_hz = std::min(band.high_hz, 0.5 * sample_rate_hz);
    RealFft finer{RealFft::good_size(n * static_cast<std::size_t>(std::ceil(1.0 / (kStep_s * sample_rate_hz))))};
    std::vector<std::complex<float>> re_bins(finer.bins()), im_bins(finer.bins());
    for (std::size_t b = 0; b < sum_re.size(); ++b) {
        const double hz = static_cast<double>(b) * sample_rate_hz / static_cast<double>(n);
        if (!(hz > band.low_hz && hz < high_hz)) continue;
        // A minimum phase is the Hilbert transform of the gain's logarithm; here that of a rectangle.
        const double lead = kStop / std::numbers::pi * std::log((high_hz - hz) / (hz - band.low_hz));
        const auto v = std::complex<float>(std::complex{sum_re[b], sum_im[b]} * std::polar(1.0, lead));
        re_bins[b] = v;
        im_bins[b] = {v.imag(), -v.real()};
    }
    std::vector<float> re(finer.size()), im(finer.size());
    finer.inverse(re_bins, re);
    finer.inverse(im_bins, im);

    PowerCourse out;
    out.step_s = static_cast<double>(n) / sample_rate_hz / static_cast<double>(finer.size());
    const auto skip = static_cast<std::size_t>(std::lround(kMargin_s / out.step_s));
    const auto count = static_cast<std::size_t>(std::lround((to_s - from_s) / out.step_s)) + 1;
    for (std::size_t i = skip; i < std::min(skip + count, re.size()); ++i) {
        const auto a = static_cast<double>(re[i]);
        const auto b = static_cast<double>(im[i]);
        out.power.push_back(a * a + b * b);
    }
    out.from_s = from_s - kMargin_s + static_cast<double>(skip) * out.step_s;
    return out;
}

}  // namespace idlehark
