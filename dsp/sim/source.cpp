#include "dsp/sim/source.hpp"

#include "dsp/real_fft.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <stdexcept>
#include <string>

namespace idlehark::sim {

namespace {

constexpr double kBinSpacing_hz = 5.0;  // finer than the half orders of any idle, so band edges cut between lines
constexpr double kHighestShare = 0.45;  // of the sample rate: keep clear of the edge

}  // namespace

Source::Source(double sample_rate_hz) : sample_rate_hz_(sample_rate_hz), block_(kBlockFrames) {
    if (!(sample_rate_hz >= 8000.0 && sample_rate_hz <= 192000.0))
        throw std::invalid_argument("sample_rate_hz: " + std::to_string(sample_rate_hz) + " is not in 8000..192000");
}

void Source::render(std::span<float> out) {
    while (!out.empty()) {
        if (used_ == kBlockFrames) {
            make_block(block_);
            used_ = 0;
        }
        const std::size_t n = std::min(out.size(), kBlockFrames - used_);
        std::copy_n(block_.begin() + static_cast<std::ptrdiff_t>(used_), n, out.begin());
        used_ += n;
        out = out.subspan(n);
    }
}

void Source::restart() {
    used_ = kBlockFrames;
    rewind();
}

std::vector<float> render_seconds(Source& source, double seconds) {
    std::vector<float> x(static_cast<std::size_t>(std::llround(seconds * source.sample_rate_hz())));
    source.render(x);
    return x;
}

double band_rms(std::span<const float> x, double sample_rate_hz, Band band) {
    const std::size_t n =
        std::min(RealFft::good_size(static_cast<std::size_t>(sample_rate_hz / kBinSpacing_hz)), x.size() / 2 * 2);
    if (n < 2) return 0.0;
    RealFft fft(RealFft::good_size(n));
    if (fft.size() > x.size()) return 0.0;
    const auto window = hann_window(fft.size());
    double energy = 0.0;
    for (const float w : window) energy += static_cast<double>(w) * static_cast<double>(w);
    std::vector<float> frame(fft.size());
    std::vector<std::complex<float>> bins(fft.bins());
    const double bin_hz = sample_rate_hz / static_cast<double>(fft.size());
    double power = 0.0;
    std::size_t frames = 0;
    for (std::size_t start = 0; start + fft.size() <= x.size(); start += fft.size() / 2, ++frames) {
        for (std::size_t i = 0; i < frame.size(); ++i) frame[i] = x[start + i] * window[i];
        fft.forward(frame, bins);
        for (std::size_t k = 0; k < bins.size(); ++k) {
            const double f = static_cast<double>(k) * bin_hz;
            if (f >= band.low_hz && f <= band.high_hz)
                power += static_cast<double>(std::norm(bins[k])) * (k == 0 || k + 1 == bins.size() ? 1.0 : 2.0);
        }
    }
    return std::sqrt(power / (static_cast<double>(frames) * static_cast<double>(fft.size()) * energy));
}

double band_rms(Source& source, Band band, double seconds) {
    source.restart();
    const auto x = render_seconds(source, seconds);
    source.restart();
    return band_rms(x, source.sample_rate_hz(), band);
}

Mix::Mix(std::unique_ptr<Source> engine) : Source(engine->sample_rate_hz()), scratch_(kBlockFrames) {
    add(std::move(engine), 1.0);
}

void Mix::add(std::unique_ptr<Source> disturber, double gain) {
    if (disturber->sample_rate_hz() != sample_rate_hz()) throw std::invalid_argument("Mix: sample rates differ");
    parts_.push_back({std::move(disturber), static_cast<float>(gain)});
}

double Mix::engine_rms(Band band, double calibration_s) {
    band.high_hz = std::min(band.high_hz, kHighestShare * sample_rate_hz());
    return band_rms(*parts_.front().source, band, calibration_s);
}

void Mix::add_at_snr(std::unique_ptr<Source> disturber, double snr_db, Band band, double calibration_s) {
    band.high_hz = std::min(band.high_hz, kHighestShare * sample_rate_hz());
    const double engine = engine_rms(band, calibration_s);
    const double other = band_rms(*disturber, band, calibration_s);
    if (!(engine > 0.0 && other > 0.0)) throw std::invalid_argument("Mix: nothing to scale by in this band");
    add(std::move(disturber), engine / other * std::pow(10.0, -snr_db / 20.0));
    restart();
}

void Mix::make_block(std::span<float> out) {
    std::fill(out.begin(), out.end(), 0.0F);
    for (auto& part : parts_) {
        part.source->render(scratch_);
        for (std::size_t i = 0; i < out.size(); ++i) out[i] += part.gain * scratch_[i];
    }
}

void Mix::rewind() {
    for (auto& part : parts_) part.source->restart();
}

}  // namespace idlehark::sim
