#include "dsp/injectors/click_path.hpp"

#include "dsp/nearest_whole.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <random>

namespace idlehark {

namespace {

constexpr std::size_t kFewestCycles = 6;
constexpr double kStepPenalty = 0.15;  // per squared frame of drift, in standard deviations of the strength
constexpr float kNowhere = -1e9F;      // where no line is
constexpr float kOutside = -1e3F;      // of a corridor
constexpr std::uint64_t kSeed = 20240229;
// A bang must not outweigh many clicks, nor a click count as no more than a fainter one: what a hundredth of the time
// is as loud as counts in full, and so many standard deviations.
constexpr double kLoudest = 4.0;
constexpr double kLoudShare = 0.01;

struct Grid {
    std::size_t cycles, places;
    std::vector<float> z;  // cycles x places
};

/// Puts everything outside the corridor out of reach. The other line's neighbours beyond its ends count as well.
void shut_outside(Grid& g, const ClickCorridor& corridor, double hop_s) {
    std::vector<double> others{corridor.at_cycles.front() - 1.0};
    others.insert(others.end(), corridor.at_cycles.begin(), corridor.at_cycles.end());
    others.push_back(corridor.at_cycles.back() + 1.0);
    const double side = corridor.side_s / hop_s;
    std::vector<char> open(g.z.size(), 0);
    for (const double at : others) {
        const double middle = (at + corridor.after_cycles) * static_cast<double>(g.places);
        for (auto i = static_cast<std::ptrdiff_t>(std::ceil(middle - side)); static_cast<double>(i) <= middle + side;
             ++i)
            if (i >= 0 && i < std::ssize(open)) open[static_cast<std::size_t>(i)] = 1;
    }
    for (std::size_t i = 0; i < g.z.size(); ++i)
        if (open[i] == 0) g.z[i] = kOutside;
}

struct Line {
    std::vector<std::size_t> place;  // 0..2*places: the second half lies in the next cycle
    double mean = 0.0;
};

Line best_line(const Grid& g, int reach) {
    const std::size_t wide = 2 * g.places;
    const auto value = [&](std::size_t k, std::size_t m) {
        if (m < g.places) return g.z[k * g.places + m];
        return k + 1 < g.cycles ? g.z[(k + 1) * g.places + m - g.places] : 0.F;
    };
    const auto side = static_cast<std::size_t>(reach);
    const auto penalty = [](std::ptrdiff_t d) { return static_cast<float>(kStepPenalty * static_cast<double>(d * d)); };
    // The best sum of every line up to a place, a row a cycle; with margins that no line comes from.
    const std::size_t row = wide + 2 * side;
    std::vector<float> sums(g.cycles * row, kNowhere);
    const auto best = [&](std::size_t k) { return sums.data() + k * row + side; };
    for (std::size_t m = g.places / 2; m < g.places / 2 + g.places; ++m) best(0)[m] = value(0, m);
    for (std::size_t k = 1; k < g.cycles; ++k) {
        float* now = best(k);
        std::fill(now, now + wide, 2.0F * kNowhere);
        for (int d = -reach; d <= reach; ++d) {
            const float cost = penalty(d);
            const float* from = best(k - 1) + d;
            for (std::size_t m = 0; m < wide; ++m) now[m] = std::max(now[m], from[m] - cost);
        }
        const float* z = g.z.data() + k * g.places;
        for (std::size_t m = 0; m < g.places; ++m) now[m] += z[m];
        if (k + 1 < g.cycles)
            for (std::size_t m = 0; m < g.places; ++m) now[g.places + m] += z[g.places + m];
    }
    Line line;
    const float* last = best(g.cycles - 1);
    auto m = std::max_element(last, last + wide) - last;
    line.place.resize(g.cycles);
    double sum = 0.0;
    for (std::size_t k = g.cycles; k-- > 0;) {
        line.place[k] = static_cast<std::size_t>(m);
        sum += static_cast<double>(value(k, static_cast<std::size_t>(m)));
        if (k == 0) break;
        const float* before = best(k - 1);
        std::ptrdiff_t came = -reach;
        const auto from = [&](std::ptrdiff_t d) { return before[m + d] - penalty(d); };
        for (std::ptrdiff_t d = 1 - reach; d <= reach; ++d)
            if (from(d) > from(came)) came = d;
        m += came;
    }
    line.mean = sum / static_cast<double>(g.cycles);
    return line;
}

}  // namespace

double mean_period_s(const CrankClock& clock, const ClickPath& path) {
    return (clock.time_at(path.at_cycles.back()) - clock.time_at(path.at_cycles.front())) /
           static_cast<double>(path.at_cycles.size() - 1);
}

ClickPath follow_clicks(std::span<const float> strength, double hop_s, const CrankClock& clock, int reach, int chances,
                        const ClickCorridor& corridor) {
    ClickPath path;
    const double end_s = static_cast<double>(strength.size()) * hop_s;
    Grid g;
    g.cycles = static_cast<std::size_t>(std::max(0.0, std::floor(clock.cycles_at(end_s))));
    if (g.cycles < kFewestCycles) return path;
    g.places = static_cast<std::size_t>(std::lround(end_s / static_cast<double>(g.cycles) / hop_s));
    g.z.resize(g.cycles * g.places);

    double mean = 0.0;
    double square = 0.0;
    for (const float s : strength) {
        mean += static_cast<double>(s);
        square += static_cast<double>(s) * static_cast<double>(s);
    }
    mean /= static_cast<double>(strength.size());
    const double sd = std::sqrt(std::max(square / static_cast<double>(strength.size()) - mean * mean, 1e-20));
    const std::vector<double> all(strength.begin(), strength.end());
    const double loudest = std::max(kLoudest, (stats::quantile(all, 1.0 - kLoudShare) - mean) / sd);
    for (std::size_t k = 0; k < g.cycles; ++k) {
        const double from = clock.time_at(static_cast<double>(k)) / hop_s;  // frames
        const double to = clock.time_at(static_cast<double>(k + 1)) / hop_s;
        const double per_place = (to - from) / static_cast<double>(g.places);
        for (std::size_t m = 0; m < g.places; ++m) {
            const double at = std::max(0.0, from + (static_cast<double>(m) + 0.5) * per_place);
            const auto i = std::min(static_cast<std::size_t>(nearest_whole(at)), strength.size() - 1);
            // The neighbours count half: a click's jitter is of the order of a frame.
            const auto left = i > 0 ? i - 1 : i;
            const auto right = std::min(i + 1, strength.size() - 1);
            const double s = 0.5 * static_cast<double>(strength[i]) +
                             0.25 * (static_cast<double>(strength[left]) + static_cast<double>(strength[right]));
            g.z[k * g.places + m] = static_cast<float>(std::min((s - mean) / sd, loudest));
        }
    }

    if (!corridor.at_cycles.empty()) shut_outside(g, corridor, hop_s);
    const Line line = best_line(g, reach);
    for (std::size_t k = 0; k < g.cycles; ++k) {
        const double at =
            static_cast<double>(k) + (static_cast<double>(line.place[k]) + 0.5) / static_cast<double>(g.places);
        if (at < static_cast<double>(g.cycles)) path.at_cycles.push_back(at);
    }
    path.contrast = line.mean;

    std::mt19937_64 random{kSeed};
    for (int c = 0; c < chances; ++c) {
        Grid turned = g;
        for (std::size_t k = 0; k < g.cycles; ++k) {
            auto* row = turned.z.data() + k * g.places;
            std::rotate(row, row + random() % g.places, row + g.places);
        }
        path.chance_contrast += best_line(turned, reach).mean / chances;
    }
    return path;
}

}  // namespace idlehark
