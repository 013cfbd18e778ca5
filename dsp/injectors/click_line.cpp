#include "dsp/injectors/click_line.hpp"

#include "dsp/injectors/click_fold.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {

constexpr int kLearnRounds = 2;      // of path and weights
constexpr std::size_t kRivals = 6;   // places looked at
constexpr double kApart_s = 5e-3;    // of these
constexpr double kRivalTimes = 0.8;  // of the line's contrast,
constexpr double kPlainTimes = 0.6;  // before its bands are learned

/// Mean excess of every band over its floor along the path.
std::vector<double> excess_along(const ClickBands& bands, const CrankClock& clock, const ClickPath& path) {
    constexpr double kLoudest = 300.0;
    std::vector<double> mean(bands.bands(), 0.0);
    for (const double c : path.at_cycles) {
        const auto k = static_cast<std::size_t>(std::lround(std::max(0.0, clock.time_at(c) / bands.hop_s)));
        if (k >= bands.frames()) continue;
        const auto row = bands.frame(k);
        for (std::size_t b = 0; b < mean.size(); ++b) mean[b] += std::min(static_cast<double>(row[b]), kLoudest);
    }
    constexpr double kMeanOverMedian = 1.4427;  // of a noise's power: 1 / ln 2
    for (auto& v : mean)
        v = std::max(0.0, v / static_cast<double>(std::max<std::size_t>(1, path.at_cycles.size())) - kMeanOverMedian);
    return mean;
}

std::vector<double> weights_from(std::span<const double> excess) {
    std::vector<double> w;
    for (const double s : excess) w.push_back(s / (1.0 + s));
    return w;
}

/// Places in the cycle, after the line's own, where something else clicks: the loudest first.
std::vector<double> rival_places(const ClickBands& bands, const ClickLine& line) {
    const auto fold = fold_clicks(bands, std::vector<double>(bands.bands(), 1.0), line.clock, line.path).power;
    const auto n = std::ssize(fold);
    std::vector<double> smooth;
    for (std::ptrdiff_t m = 0; m < n; ++m)
        smooth.push_back(
            0.5 * fold[static_cast<std::size_t>(m)] +
            0.25 * (fold[static_cast<std::size_t>((m + 1) % n)] + fold[static_cast<std::size_t>((m + n - 1) % n)]));
    const auto side = static_cast<std::ptrdiff_t>(kApart_s / kFoldStep_s);
    const auto take_out = [&](std::ptrdiff_t centre) {
        for (auto k = centre - side; k <= centre + side; ++k) smooth[static_cast<std::size_t>((k + n) % n)] = -1.0;
    };
    take_out(n / 4);  // the line's own
    std::vector<double> out;
    while (out.size() < kRivals) {
        const auto top = std::max_element(smooth.begin(), smooth.end());
        if (*top < 0.0) break;
        const auto m = top - smooth.begin();
        out.push_back((static_cast<double>(m) + 0.5) / static_cast<double>(n) - 0.25);
        take_out(m);
    }
    return out;
}

}  // namespace

std::optional<ClickLine> learn_line(const ClickBands& bands, ClickLine line, bool own_clock, int chances,
                                    const ClickCorridor& corridor) {
    const double length_s = static_cast<double>(bands.frames()) * bands.hop_s;
    for (int round = 0; round < kLearnRounds; ++round) {
        line.excess = excess_along(bands, line.clock, line.path);
        if (*std::max_element(line.excess.begin(), line.excess.end()) <= 0.0) return {};
        line.weights = weights_from(line.excess);
        if (own_clock) {
            std::vector<double> starts;
            for (const double c : line.path.at_cycles) starts.push_back(line.clock.time_at(c));
            line.clock = clock_from_cycles(starts, length_s);
        }
        line.path = follow_clicks(click_strength(bands, line.weights), bands.hop_s, line.clock, kFramesByClock,
                                  round + 1 == kLearnRounds ? chances : 0, corridor);
        if (line.path.at_cycles.size() < 2) return {};
    }
    return line;
}

std::vector<ClickLine> rival_lines(const ClickBands& bands, std::span<const float> plain, const ClickLine& line) {
    std::vector<ClickLine> out;
    for (const double after : rival_places(bands, line)) {
        const ClickCorridor corridor{line.path.at_cycles, after, kPlaceSide_s};
        auto path = follow_clicks(plain, bands.hop_s, line.clock, kFramesByClock, 0, corridor);
        if (path.at_cycles.size() < 2 || path.contrast < kPlainTimes * line.path.contrast) continue;
        auto rival = learn_line(bands, {line.clock, std::move(path)}, false, 0, corridor);
        if (rival && rival->path.contrast >=
                         std::max(kRivalTimes * line.path.contrast, kClearOfChance * line.path.chance_contrast))
            out.push_back(*std::move(rival));
    }
    return out;
}

}  // namespace idlehark
