#include "dsp/track/comb_listener.hpp"

#include <algorithm>

namespace idlehark {

namespace {

/// The same peaks as they stand a moment later, by their slopes.
std::vector<CombPeak> moved(std::vector<CombPeak> peaks, double by_s) {
    for (auto& p : peaks) p.log_cycle_hz += by_s * p.slope_per_s;
    return peaks;
}

}  // namespace

CombListener::CombListener(double sample_rate_hz, const Engine& engine)
    : sample_rate_hz_(sample_rate_hz), sound_(sample_rate_hz), search_(sound_.signals, engine) {}

double CombListener::end_of_sound_s() const noexcept { return static_cast<double>(sound_.samples) / sample_rate_hz_; }

CombFrame CombListener::frame(double centre_s) {
    auto& signals = sound_.signals;
    const double time_s = static_cast<double>(frames_) * CombFrame::kSpacing_s;
    CombFrame out{.peaks = moved(search_.at(signals, centre_s), time_s - centre_s), .sound = {}};
    std::size_t k = 0;
    signals.each([&](const Timeline& t) {
        const auto now = t.since(handed_on_[k]);
        out.sound[k].assign(now.begin(), now.end());
        handed_on_[k] = t.end();
        ++k;
    });
    ++frames_;
    signals.forget_before(centre_s - search_.window_s());
    return out;
}

void CombListener::process(AudioView x, std::vector<CombFrame>& frames) {
    in_parts(x, [&](AudioView part) {
        sound_.process(part);
        for (;;) {
            // The first windows would reach before the recording: they look at its start instead.
            const double centre_s =
                std::max(static_cast<double>(frames_) * CombFrame::kSpacing_s, 0.5 * search_.window_s());
            if (centre_s + 0.5 * search_.window_s() > sound_.signals.until_s()) return;
            frames.push_back(frame(centre_s));
        }
    });
}

void CombListener::finish(std::vector<CombFrame>& frames) {
    const double end_s = end_of_sound_s();
    sound_.flush();
    const auto last = static_cast<std::int64_t>(end_s / CombFrame::kSpacing_s);
    while (frames_ <= last)  // and the last windows at its end
        frames.push_back(frame(std::clamp(static_cast<double>(frames_) * CombFrame::kSpacing_s, 0.0,
                                          std::max(0.0, end_s - 0.5 * search_.window_s()))));
}

}  // namespace idlehark
