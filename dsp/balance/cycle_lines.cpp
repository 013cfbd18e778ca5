#include "dsp/balance/cycle_lines.hpp"

#include "dsp/real_fft.hpp"

#include <complex>

namespace idlehark {

namespace {

/// At a place that is not negative.
float cubic(const std::vector<float>& x, double at) {
    const auto i = static_cast<std::ptrdiff_t>(at);
    if (i < 1 || i + 2 >= std::ssize(x)) return 0.F;
    const float* const p = x.data() + i;
    const float u = static_cast<float>(at - static_cast<double>(i));
    const float a = p[-1], b = p[0], c = p[1], d = p[2];
    return b + 0.5F * u * (c - a + u * (2.0F * a - 5.0F * b + 4.0F * c - d + u * (3.0F * (b - c) + d - a)));
}

}  // namespace

CycleLines cycle_lines(const BandSplit& sound, const CrankPath& path, const std::vector<char>& usable,
                       std::size_t points) {
    CycleLines out;
    std::vector<float> mean(points, 0.F), rest(points, 0.F);
    const double per_s = sound.waveform_hz();
    CrankPath::InTurn crank(path);
    for (std::size_t c = 0; c < usable.size(); ++c) {
        if (!usable[c]) continue;
        const float sign = out.cycles++ % 2 == 0 ? -1.F : 1.F;
        for (std::size_t p = 0; p < points; ++p) {
            const double phase = static_cast<double>(c) + (static_cast<double>(p) + 0.5) / static_cast<double>(points);
            const float v = cubic(sound.waveform(), crank.time_at(phase) * per_s);
            mean[p] += v;
            rest[p] += sign * v;
        }
    }
    RealFft fft(points);
    std::vector<std::complex<float>> bins(fft.bins());
    const auto powers = [&](const std::vector<float>& sum) {
        fft.forward(sum, bins);
        std::vector<double> power;
        for (const auto& b : bins) power.push_back(std::norm(std::complex<double>(b)));
        return power;
    };
    out.line = powers(mean);
    out.noise = powers(rest);
    return out;
}

}  // namespace idlehark
