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
constexpr int kSweepsAGroup = 3;  // from one group drawn anew to the next, after the first hundred
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
        mass_.resize(values_.size());
        for (std::size_t t = 0; t < looks.size(); ++t) {
            tables_.emplace_back(grid, looks[t].log_curve);
            parts_.emplace_back(priors.size());
            for (const auto& [spot, share] : looks[t].shares) {
                seen_by_[spot].push_back({t, share, 0.0});
                parts_[t][spot].first = share;
            }
            for (const auto& [spot, near] : looks[t].drift) {
                seen_by_[spot].push_back({t, 0.0, near});
                parts_[t][spot].second = near;
            }
            if (looks[t].shares.size() + looks[t].drift.size() > 1) {
                std::vector<std::size_t> all;
                for (const auto& [spot, share] : looks[t].shares) all.push_back(spot);
                for (const auto& [spot, near] : looks[t].drift) all.push_back(spot);
                groups_.push_back(std::move(all));
            }
        }
    }

    /// From where each spot answers for itself: drift that is believed in first explains away what it should not.
    void start() {
        drift_ = 0.0;
        for (std::size_t s = 0; s < state_.size(); ++s) set(s, draw(weigh(s)));
    }
    void sweep(std::vector<SpotBelief>* sums, double matters_rpm) {
        for (std::size_t s = 0; s < state_.size(); ++s) {
            set(s, 0);
            const double total = weigh(s);
            if (sums) {
                auto& sum = (*sums)[s];
                sum.leaks += 1.0 - mass_[0] / total;
                for (std::size_t v = 1; v < values_.size(); ++v) {
                    if (std::abs(values_[v]) >= 0.999 * matters_rpm) sum.matters += mass_[v] / total;
                    sum.mean_rpm += values_[v] * mass_[v] / total;
                }
            }
            set(s, draw(total));
        }
        if (sums == nullptr || ++sweeps_ % kSweepsAGroup == 0) draw_group_anew();
        draw_drift();
    }

   private:
    struct Weight {
        std::size_t look;
        double share;
        double near;
    };

    /// How likely each value of a spot is by the looks that it has a part in; their sum.
    double weigh(std::size_t spot) {
        for (std::size_t v = 0; v < values_.size(); ++v) {
            mass_[v] = log_prior_[spot][v];
            for (const auto& w : seen_by_[spot])
                mass_[v] += tables_[w.look](own_[w.look] + w.share * values_[v] +
                                            drift_ * (drifted_[w.look] + w.near * values_[v]));
        }
        return to_chances();
    }
    double to_chances() {
        const double top = *std::max_element(mass_.begin(), mass_.end());
        double total = 0.0;
        for (double& m : mass_) total += m = std::exp(m - top);
        return total;
    }
    std::size_t draw(double total) {
        double pick = uniform_(random_) * total;
        std::size_t v = 0;
        while (v + 1 < mass_.size() && pick >= mass_[v]) pick -= mass_[v++];
        return v;
    }
    void set(std::size_t spot, std::size_t value) {
        const double change = values_[value] - values_[state_[spot]];
        state_[spot] = value;
        if (change == 0.0) return;
        for (const auto& w : seen_by_[spot]) {
            own_[w.look] += w.share * change;
            drifted_[w.look] += w.near * change;
        }
    }
    /// Log posterior as far as the spots of a group have a say in it.
    [[nodiscard]] double fit(const std::vector<std::size_t>& group) const {
        double sum = 0.0;
        for (const std::size_t s : group) sum += log_prior_[s][state_[s]];
        for (std::size_t t = 0; t < tables_.size(); ++t) sum += tables_[t](own_[t] + drift_ * drifted_[t]);
        return sum;
    }
    /// Gives each spot of a group a value in turn, by the looks that were aimed at it, the values given so far and what
    /// its drift would leave to be explained by the spots that follow: the values in `wanted`, else new ones by chance.
    /// Returns the logarithm of the chance of these.
    double give(std::span<const std::size_t> group, const std::vector<std::size_t>* wanted) {
        for (const std::size_t s : group) set(s, 0);
        double log_chance = 0.0;
        for (std::size_t i = 0; i < group.size(); ++i) {
            const double total = weigh_ahead(group[i], group.subspan(i + 1));
            const std::size_t v = wanted ? (*wanted)[i] : draw(total);
            log_chance += std::log(std::max(mass_[v] / total, 1e-300));
            set(group[i], v);
        }
        return log_chance;
    }
    /// How likely each value of a spot is by the looks aimed at it and at those of `after`, whatever these have.
    double weigh_ahead(std::size_t spot, std::span<const std::size_t> after) {
        for (std::size_t v = 0; v < values_.size(); ++v) {
            mass_[v] = log_prior_[spot][v];
            for (const auto& w : seen_by_[spot])
                if (w.share > 0.0)
                    mass_[v] += tables_[w.look](own_[w.look] + w.share * values_[v] +
                                                drift_ * (drifted_[w.look] + w.near * values_[v]));
            for (const std::size_t later : after) mass_[v] += log_left(spot, values_[v], later);
        }
        return to_chances();
    }
    /// Logarithm of how likely the looks aimed at `later` are, over all its values, if a spot has one of its own.
    [[nodiscard]] double log_left(std::size_t spot, double value, std::size_t later) const {
        double sum = 0.0;
        bool touched = false;
        for (std::size_t v = 0; v < values_.size(); ++v) {
            double fit = log_prior_[later][v];
            for (const auto& w : seen_by_[later]) {
                if (!(w.share > 0.0)) continue;
                const auto& [share, near] = parts_[w.look][spot];
                touched = touched || share > 0.0 || near > 0.0;
                fit += tables_[w.look](own_[w.look] + share * value + w.share * values_[v] +
                                       drift_ * (drifted_[w.look] + near * value + w.near * values_[v]));
            }
            if (!touched) return 0.0;
            sum += std::exp(fit);
        }
        return std::log(std::max(sum, 1e-300));
    }
    /// Spots that see one another's spray are drawn anew together (Metropolis and Hastings): one by one they would stay
    /// with the explanation that was found first, a neighbour's drift or a leak of their own.
    void draw_group_anew() {
        if (groups_.empty()) return;
        auto group = groups_[random_() % groups_.size()];
        for (std::size_t i = group.size(); i > 1; --i) std::swap(group[i - 1], group[random_() % i]);
        std::vector<std::size_t> old;
        for (const std::size_t s : group) old.push_back(state_[s]);
        const double back = give(group, &old);
        const double before = fit(group);
        const double old_drift = drift_;
        if (random_() % 3 != 0) drift_ = any_drift();  // by its prior, which stands on both sides
        const double there = give(group, nullptr);
        if (std::log(uniform_(random_)) < fit(group) - before + back - there) return;
        drift_ = old_drift;
        for (std::size_t i = 0; i < group.size(); ++i) set(group[i], old[i]);
    }
    double any_drift() {
        double pick = uniform_(random_);
        std::size_t d = 0;
        while (d + 1 < kDrifts.size() && pick >= kDrifts[d].second) pick -= kDrifts[d++].second;
        return kDrifts[d].first;
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
    std::vector<double> mass_;  ///< of each value, as last weighed
    std::vector<std::vector<double>> log_prior_;
    std::vector<std::size_t> state_;
    std::vector<Table> tables_;
    std::vector<double> own_, drifted_;  // per look: what its spots, and their neighbours, add
    std::vector<std::vector<Weight>> seen_by_;
    std::vector<std::vector<std::pair<double, double>>> parts_;  ///< [look][spot]: its share, how near it is
    std::vector<std::vector<std::size_t>> groups_;
    double drift_ = 0.0;
    int sweeps_ = 0;
};

}  // namespace

std::vector<SpotBelief> believe(std::span<const double> priors, std::span<const Look> looks,
                                std::span<const double> grid_rpm, double matters_rpm, std::uint64_t seed, int sweeps) {
    Chain chain(priors, looks, grid_rpm, matters_rpm, seed);
    std::vector<SpotBelief> sums(priors.size());
    chain.start();
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
