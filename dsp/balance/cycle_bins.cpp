#include "dsp/balance/cycle_bins.hpp"

#include "dsp/summit.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {

constexpr std::size_t kGroup = 10;      // cycles that are shifted together
constexpr double kReach_cycles = 0.05;  // a shift is sought this far
constexpr int kRounds = 2;              // each round's better template helps the next
constexpr double kLoudest = 4.0;        // times the median power in any band: a knock
constexpr double kQuietest = 0.1;       // below: a drop-out

/// Sums of a stepwise signal from its start: means between two times are differences of these.
class Steps {
   public:
    Steps(const std::vector<float>& x, double spacing_s) : per_s_(1.0 / spacing_s) {
        sums_.reserve(x.size() + 2);
        sums_.push_back(0.0);
        for (const float v : x) sums_.push_back(sums_.back() + static_cast<double>(v));
        if (x.empty()) sums_.push_back(0.0);
    }
    /// Integral over time.
    [[nodiscard]] double until(double t) const {
        const double x = std::clamp(t * per_s_, 0.0, static_cast<double>(sums_.size() - 1));
        const auto i = std::min(static_cast<std::size_t>(x), sums_.size() - 2);
        return (sums_[i] + (x - static_cast<double>(i)) * (sums_[i + 1] - sums_[i])) / per_s_;
    }

   private:
    double per_s_;
    std::vector<double> sums_;
};

void cut_power(CycleBins& out, const std::vector<Steps>& bands, const CrankPath& path) {
    std::vector<double> edge_s;
    edge_s.reserve(out.cycles * out.bins + 1);
    CrankPath::InTurn crank(path);
    for (std::size_t i = 0; i <= out.cycles * out.bins; ++i)
        edge_s.push_back(crank.time_at(static_cast<double>(i) / static_cast<double>(out.bins)));
    for (std::size_t b = 0; b < bands.size(); ++b) {
        out.power[b].resize(out.cycles * out.bins);
        double before = bands[b].until(edge_s[0]);
        for (std::size_t i = 0; i < out.power[b].size(); ++i) {
            const double after = bands[b].until(edge_s[i + 1]);
            out.power[b][i] = static_cast<float>((after - before) / (edge_s[i + 1] - edge_s[i]));
            before = after;
        }
    }
}

void mark_usable(CycleBins& out) {
    out.usable.assign(out.cycles, 1);
    std::vector<double> level(out.cycles);
    for (std::size_t b = 0; b < out.power.size(); ++b) {
        for (std::size_t c = 0; c < out.cycles; ++c) {
            double sum = 0.0;
            for (std::size_t p = 0; p < out.bins; ++p) sum += static_cast<double>(out.row(b, c)[p]);
            level[c] = sum;
        }
        auto sorted = level;
        std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(out.cycles / 2), sorted.end());
        const double middle = sorted[out.cycles / 2];
        for (std::size_t c = 0; c < out.cycles; ++c)
            if (!(level[c] <= kLoudest * middle && level[c] >= kQuietest * middle)) out.usable[c] = 0;
    }
}

/// Shift of each group of cycles against the mean cycle, in cycles, smoothed over three groups.
std::vector<double> shifts(const CycleBins& in) {
    const auto n = static_cast<std::ptrdiff_t>(in.bins);
    const std::size_t groups = in.cycles / kGroup;
    const auto reach = std::max<std::ptrdiff_t>(2, std::lround(kReach_cycles * static_cast<double>(n)));
    std::vector<std::vector<double>> score(groups, std::vector<double>(static_cast<std::size_t>(2 * reach + 1), 0.0));
    for (std::size_t b = 0; b < in.power.size(); ++b) {
        std::vector<double> mean(in.bins, 0.0);
        std::vector<std::vector<double>> part(groups, std::vector<double>(in.bins, 0.0));
        for (std::size_t g = 0; g < groups; ++g) {
            for (std::size_t c = g * kGroup; c < (g + 1) * kGroup; ++c)
                if (in.usable[c])
                    for (std::size_t p = 0; p < in.bins; ++p) part[g][p] += static_cast<double>(in.row(b, c)[p]);
            for (std::size_t p = 0; p < in.bins; ++p) mean[p] += part[g][p];
        }
        double level = 0.0;
        for (double& v : mean) level += v / static_cast<double>(in.bins);
        if (!(level > 0.0)) continue;
        // Scaled by the residual, so that a band full of noise has little to say.
        double residual = 0.0;
        for (std::size_t g = 0; g < groups; ++g)
            for (std::size_t p = 0; p < in.bins; ++p) {
                const double d = part[g][p] - mean[p] / static_cast<double>(groups);
                residual += d * d / static_cast<double>(groups * in.bins);
            }
        for (std::size_t g = 0; g < groups; ++g)
            for (std::ptrdiff_t s = -reach; s <= reach; ++s) {
                double sum = 0.0;
                for (std::ptrdiff_t p = 0; p < n; ++p)
                    sum += part[g][static_cast<std::size_t>(p)] *
                           (mean[static_cast<std::size_t>((p + n + s) % n)] - level);
                score[g][static_cast<std::size_t>(s + reach)] +=
                    sum / static_cast<double>(groups) / std::max(residual, 1e-300);
            }
    }
    // A group speaks together with its neighbours; the peak is refined by a parabola.
    std::vector<double> out(groups, 0.0);
    for (std::size_t g = 0; g < groups; ++g) {
        std::vector<double> s(score[g].size(), 0.0);
        for (std::size_t k = g > 0 ? g - 1 : 0; k <= std::min(g + 1, groups - 1); ++k)
            for (std::size_t i = 0; i < s.size(); ++i) s[i] += score[k][i];
        const auto best = static_cast<std::size_t>(std::max_element(s.begin(), s.end()) - s.begin());
        double peak = static_cast<double>(best);
        if (best > 0 && best + 1 < s.size()) peak += summit(s[best - 1], s[best], s[best + 1]);
        out[g] = (peak - static_cast<double>(reach)) / static_cast<double>(n);
    }
    return out;
}

}  // namespace

CycleBins cut_cycles(const BandSplit& sound, CrankPath& path, std::size_t bins) {
    CycleBins out;
    out.bins = bins;
    out.power.resize(sound.power().size());
    std::vector<Steps> steps;
    steps.reserve(out.power.size());
    for (const auto& power : sound.power()) steps.emplace_back(power, sound.spacing_s());
    for (int round = 0;; ++round) {
        out.cycles = static_cast<std::size_t>(std::max(0.0, std::floor(path.cycles())));
        if (out.cycles == 0) return out;
        cut_power(out, steps, path);
        mark_usable(out);
        if (round == kRounds || out.cycles < 2 * kGroup) break;
        const auto by = shifts(out);
        std::vector<double> at_s;
        for (std::size_t g = 0; g < by.size(); ++g) {
            at_s.push_back(path.time_at((static_cast<double>(g) + 0.5) * static_cast<double>(kGroup)));
            out.drift_cycles = std::max(out.drift_cycles, std::fabs(by[g]));
        }
        path.correct(at_s, by);
    }
    return out;
}

}  // namespace idlehark
