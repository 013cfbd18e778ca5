#include "dsp/plan/leak_belief.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <random>

namespace idlehark::plan {

namespace {

constexpr double kPriorScale_rpm = 12.0;
constexpr int kTable_rpm = 160;  // curves are tabulated each rpm up to here
constexpr int kBurnIn = 100;
// Changes considered, in units of the one that matters; both signs.
constexpr std::array kSizes{0.2, 0.4, 0.65, 1.0, 1.5, 2.2, 3.3, 5.0};
constexpr std::array<std::pair<double, double>, 5> kDrifts{
    {{0.0, 0.25}, {0.1, 0.15}, {0.2, 0.25}, {0.3, 0.25}, {0.4, 0.1}}};

struct Table {
    std::vector<double> at;  // from -kTable_rpm on, one per rpm

    Table(std::span<const double> grid, std::span<const double> curve) {
        for (int v = -kTable_rpm; v <= kTable_rpm; ++v) {
            const auto x = std::clamp(static_cast<double>(v), grid.front(), grid.back());
            const auto upper = std::lower_bound(grid.begin() + 1, grid.end() - 1, x);
            const auto i = static_cast<std::size_t>(upper - grid.begin());
            const double part = (x - grid[i - 1]) / (grid[i] - grid[i - 1]);
            at.push_back(curve[i - 1] + part * (curve[i] - curve[i - 1]));
        }
    }
    [[nodiscard]] double operator()(double rpm) const {
        const double x = std::clamp(rpm + kTable_rpm, 0.0, 2.0 * kTable_rpm - 1e-6);
        const auto i = static_cast<std::size_t>(x);
        return at[i] + (x - static_cast<double>(i)) * (at[i + 1] - at[i]);
    }
};

class Chain {
   public:
    Chain(std::span<const double> priors, std::span<const Look> looks, std::span<const double> grid, double matters_rpm,
          std::uint64_t seed)
        : random_(seed), own_(looks.size(), 0.0), drifted_(looks.size(), 0.0), seen_by_(priors.size()) {
        values_.push_back(0.0);
        for (const double k : kSizes)
            for (const double sign : {-1.0, 1.0}) values_.push_back(sign * k * matters_rpm);
        double total = 0.0;
        for (std::size_t v = 1; v < values_.size(); ++v) {  // sizes are about even in log: weight by the size
            const double u = values_[v] / kPriorScale_rpm;
            slab_.push_back(std::abs(u) / (1.0 + u * u));
            total += slab_.back();
        }
        for (const double p : priors) {
            const double prior = std::clamp(p, 1e-6, 1.0 - 1e-6);
            std::vector<double> log_prior{std::log1p(-prior)};
            for (const double w : slab_) log_prior.push_back(std::log(prior * w / total));
            log_prior_.push_back(std::move(log_prior));
        }
        state_.assign(priors.size(), 0);
        for (std::size_t t = 0; t < looks.size(); ++t) {
            tables_.emplace_back(grid, looks[t].log_curve);
            for (const auto& [spot, share] : looks[t].shares) seen_by_[spot].push_back({t, share, 0.0});
            for (const auto& [spot, near] : looks[t].drift) seen_by_[spot].push_back({t, 0.0, near});
            if (looks[t].shares.size() + looks[t].drift.size() > 1) {
                std::vector<std::size_t> all;
                for (const auto& [spot, share] : looks[t].shares) all.push_back(spot);
                for (const auto& [spot, near] : looks[t].drift) all.push_back(spot);
                groups_.push_back(std::move(all));
            }
        }
    }

    void sweep(std::vector<SpotBelief>* sums, double matters_rpm) {
        std::vector<double> mass(values_.size());
        for (std::size_t s = 0; s < state_.size(); ++s) {
            set(s, 0);
            double top = -1e300;
            for (std::size_t v = 0; v < values_.size(); ++v) {
                mass[v] = log_prior_[s][v];
                for (const auto& w : seen_by_[s])
                    mass[v] += tables_[w.look](own_[w.look] + w.share * values_[v] +
                                               drift_ * (drifted_[w.look] + w.near * values_[v]));
                top = std::max(top, mass[v]);
            }
            double total = 0.0;
            for (double& m : mass) total += m = std::exp(m - top);
            if (sums) {
                auto& sum = (*sums)[s];
                sum.leaks += 1.0 - mass[0] / total;
                for (std::size_t v = 1; v < values_.size(); ++v) {
                    if (std::abs(values_[v]) >= 0.999 * matters_rpm) sum.matters += mass[v] / total;
                    sum.mean_rpm += values_[v] * mass[v] / total;
                }
            }
            double pick = uniform_(random_) * total;
            std::size_t v = 0;
            while (v + 1 < mass.size() && pick >= mass[v]) pick -= mass[v++];
            set(s, v);
        }
        swap_some();
        draw_drift();
    }

   private:
    struct Weight {
        std::size_t look;
        double share;
        double near;
    };

    void set(std::size_t spot, std::size_t value) {
        const double change = values_[value] - values_[state_[spot]];
        state_[spot] = value;
        if (change == 0.0) return;
        for (const auto& w : seen_by_[spot]) {
            own_[w.look] += w.share * change;
            drifted_[w.look] += w.near * change;
        }
    }
    [[nodiscard]] double fit(std::size_t a, std::size_t b) const {
        double sum = log_prior_[a][state_[a]] + log_prior_[b][state_[b]];
        for (std::size_t t = 0; t < tables_.size(); ++t) sum += tables_[t](own_[t] + drift_ * drifted_[t]);
        return sum;
    }
    /// Otherwise a leak that one of several spots has would stay at the first.
    void swap_some() {
        for (const auto& group : groups_) {
            const auto pick = [&] { return group[random_() % group.size()]; };
            const std::size_t a = pick(), b = pick();
            if (a == b || state_[a] == state_[b]) continue;
            const double before = fit(a, b);
            const std::size_t va = state_[a], vb = state_[b];
            set(a, vb);
            set(b, va);
            if (std::log(uniform_(random_)) < fit(a, b) - before) continue;
            set(a, va);
            set(b, vb);
        }
    }
    void draw_drift() {
        std::array<double, kDrifts.size()> mass{};
        for (std::size_t d = 0; d < kDrifts.size(); ++d) {
            mass[d] = std::log(kDrifts[d].second);
            for (std::size_t t = 0; t < tables_.size(); ++t)
                if (drifted_[t] != 0.0) mass[d] += tables_[t](own_[t] + kDrifts[d].first * drifted_[t]);
        }
        const double top = *std::max_element(mass.begin(), mass.end());
        double total = 0.0;
        for (double& m : mass) total += m = std::exp(m - top);
        double pick = uniform_(random_) * total;
        std::size_t d = 0;
        while (d + 1 < mass.size() && pick >= mass[d]) pick -= mass[d++];
        drift_ = kDrifts[d].first;
    }

    std::mt19937_64 random_;
    std::uniform_real_distribution<double> uniform_{0.0, 1.0};
    std::vector<double> values_, slab_;
    std::vector<std::vector<double>> log_prior_;
    std::vector<std::size_t> state_;
    std::vector<Table> tables_;
    std::vector<double> own_, drifted_;  // per look: what its spots, and their neighbours, add
    std::vector<std::vector<Weight>> seen_by_;
    std::vector<std::vector<std::size_t>> groups_;
    double drift_ = 0.2;
};

}  // namespace

std::vector<SpotBelief> believe(std::span<const double> priors, std::span<const Look> looks,
                                std::span<const double> grid_rpm, double matters_rpm, std::uint64_t seed, int sweeps) {
    Chain chain(priors, looks, grid_rpm, matters_rpm, seed);
    std::vector<SpotBelief> sums(priors.size());
    for (int i = 0; i < kBurnIn; ++i) chain.sweep(nullptr, matters_rpm);
    for (int i = 0; i < sweeps; ++i) chain.sweep(&sums, matters_rpm);
    for (auto& s : sums) {
        s.leaks /= sweeps;
        s.matters /= sweeps;
        s.mean_rpm /= sweeps;
    }
    return sums;
}

}  // namespace idlehark::plan
