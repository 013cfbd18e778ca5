#include "dsp/plan/leak_belief.hpp"

#include "dsp/evidence/log_sum.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <random>

namespace idlehark::plan {

namespace {

constexpr double kPriorScale_rpm = 12.0;
constexpr int kTable_rpm = 350;  // curves are tabulated each rpm up to here
constexpr int kBurnIn = 100;
constexpr int kSweepsAGroup = 3;  // from one group drawn anew to the next, after the first hundred
// Changes considered, both signs: the one that matters, and from one to the next so much.
constexpr double kNextSize = 1.5;
constexpr double kSmallest_rpm = 3.0, kLargest_rpm = 300.0;
constexpr double kOrdinary_rpm = 80.0;  // a spot's prior is of leaks up to here; hoses that are off come on top
constexpr std::array kDrifts{0.0, 0.1, 0.2, 0.3, 0.4};
constexpr std::array kDriftChances{0.25, 0.15, 0.25, 0.25, 0.1};

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

/// From logarithms to what they are of, in the unit of the largest; their sum.
double to_chances(std::span<double> log_mass) {
    const double top = *std::max_element(log_mass.begin(), log_mass.end());
    double total = 0.0;
    for (double& m : log_mass) total += m = std::exp(m - top);
    return total;
}

class Chain {
   public:
    Chain(std::span<const double> priors, std::span<const Look> looks, std::span<const double> grid, double matters_rpm,
          std::uint64_t seed)
        : random_(seed),
          own_(looks.size(), 0.0),
          drifted_(looks.size(), 0.0),
          seen_by_(priors.size()),
          aimed_at_(priors.size()) {
        values_.push_back(0.0);
        double size = matters_rpm;
        while (size / kNextSize >= kSmallest_rpm) size /= kNextSize;
        for (; size <= std::max(kLargest_rpm, matters_rpm); size *= kNextSize)
            for (const double sign : {-1.0, 1.0}) values_.push_back(sign * size);
        std::vector<double> slab;
        double total = 0.0;
        for (std::size_t v = 1; v < values_.size(); ++v) {  // sizes are about even in log: weight by the size
            const double u = values_[v] / kPriorScale_rpm;
            slab.push_back(std::abs(u) / (1.0 + u * u));
            if (std::abs(values_[v]) <= kOrdinary_rpm) total += slab.back();
        }
        for (const double p : priors) {
            const double prior = std::clamp(p, 1e-6, 1.0 - 1e-6);
            std::vector<double> log_prior{std::log1p(-prior)};
            for (const double w : slab) log_prior.push_back(std::log(prior * w / total));
            log_prior_.push_back(std::move(log_prior));
        }
        state_.assign(priors.size(), 0);
        mass_.resize(values_.size());
        left_.resize(values_.size());
        for (std::size_t t = 0; t < looks.size(); ++t) {
            tables_.emplace_back(grid, looks[t].log_curve);
            parts_.emplace_back(priors.size());
            std::vector<std::size_t> group;
            for (const auto& [spot, share] : looks[t].shares) {
                parts_[t][spot].share = share;
                aimed_at_[spot].push_back(t);
                group.push_back(spot);
            }
            for (const auto& [spot, near] : looks[t].drift) {
                parts_[t][spot].near = near;
                if (parts_[t][spot].share == 0.0)
                    group.push_back(spot);  // a pass's own get one another's drift as well
            }
            for (const std::size_t spot : group) seen_by_[spot].push_back(t);
            if (group.size() > 1) groups_.push_back(std::move(group));
        }
    }

    /// From where each spot answers for itself: drift that is believed in first explains away what it should not.
    void start() {
        drift_ = 0.0;
        for (std::size_t s = 0; s < state_.size(); ++s) set(s, draw(mass_, weigh(s)));
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
            set(s, draw(mass_, total));
        }
        if (sums == nullptr || ++sweeps_ % kSweepsAGroup == 0) draw_group_anew();
        draw_drift();
    }

   private:
    /// What a look gets of a spot's change: of its own spray, and of what drifts over if all did.
    struct Part {
        double share = 0.0, near = 0.0;
    };

    /// Log odds of a look if so much were added to what its own spots change, and to what drifts over.
    [[nodiscard]] double log_odds(std::size_t look, double own, double drifting) const {
        return tables_[look](own_[look] + own + drift_ * (drifted_[look] + drifting));
    }
    /// Logarithm of how likely a value of a spot is by some of the looks.
    [[nodiscard]] double log_fit(std::size_t spot, std::size_t value, std::span<const std::size_t> looks) const {
        double sum = log_prior_[spot][value];
        for (const std::size_t t : looks) {
            const auto& [share, near] = parts_[t][spot];
            sum += log_odds(t, share * values_[value], near * values_[value]);
        }
        return sum;
    }
    /// How likely each value of a spot is by the looks that it has a part in; their sum.
    double weigh(std::size_t spot) {
        for (std::size_t v = 0; v < values_.size(); ++v) mass_[v] = log_fit(spot, v, seen_by_[spot]);
        return to_chances(mass_);
    }
    /// One of several things, as likely as their masses, which add up to `total`.
    std::size_t draw(std::span<const double> mass, double total) {
        double pick = uniform_(random_) * total;
        std::size_t i = 0;
        while (i + 1 < mass.size() && pick >= mass[i]) pick -= mass[i++];
        return i;
    }
    void set(std::size_t spot, std::size_t value) {
        const double change = values_[value] - values_[state_[spot]];
        state_[spot] = value;
        if (change == 0.0) return;
        for (const std::size_t t : seen_by_[spot]) {
            own_[t] += parts_[t][spot].share * change;
            drifted_[t] += parts_[t][spot].near * change;
        }
    }
    /// Log posterior as far as the spots of a group have a say in it.
    [[nodiscard]] double fit(const std::vector<std::size_t>& group) const {
        double sum = 0.0;
        for (const std::size_t s : group) sum += log_prior_[s][state_[s]];
        for (std::size_t t = 0; t < tables_.size(); ++t) sum += log_odds(t, 0.0, 0.0);
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
            const std::size_t v = wanted ? (*wanted)[i] : draw(mass_, total);
            log_chance += std::log(std::max(mass_[v] / total, 1e-300));
            set(group[i], v);
        }
        return log_chance;
    }
    /// How likely each value of a spot is by the looks aimed at it and at those of `after`, whatever these have.
    double weigh_ahead(std::size_t spot, std::span<const std::size_t> after) {
        for (std::size_t v = 0; v < values_.size(); ++v) {
            mass_[v] = log_fit(spot, v, aimed_at_[spot]);
            for (const std::size_t later : after) mass_[v] += log_left(spot, values_[v], later);
        }
        return to_chances(mass_);
    }
    /// Logarithm of how likely the looks aimed at `later` are, over all its values, if a spot has one of its own; 0 if
    /// they get nothing of that.
    double log_left(std::size_t spot, double value, std::size_t later) {
        const auto& looks = aimed_at_[later];
        const auto gets = [&](std::size_t t) { return parts_[t][spot].share > 0.0 || parts_[t][spot].near > 0.0; };
        if (std::none_of(looks.begin(), looks.end(), gets)) return 0.0;
        for (std::size_t v = 0; v < values_.size(); ++v) {
            left_[v] = log_prior_[later][v];
            for (const std::size_t t : looks) {
                const auto &mine = parts_[t][spot], &its = parts_[t][later];
                left_[v] +=
                    log_odds(t, mine.share * value + its.share * values_[v], mine.near * value + its.near * values_[v]);
            }
        }
        return evidence::log_sum(left_);
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
        if (random_() % 3 != 0) drift_ = kDrifts[draw(kDriftChances, 1.0)];  // by its prior, which stands on both sides
        const double there = give(group, nullptr);
        if (std::log(uniform_(random_)) < fit(group) - before + back - there) return;
        drift_ = old_drift;
        for (std::size_t i = 0; i < group.size(); ++i) set(group[i], old[i]);
    }
    void draw_drift() {
        std::array<double, kDrifts.size()> mass{};
        for (std::size_t d = 0; d < kDrifts.size(); ++d) {
            mass[d] = std::log(kDriftChances[d]);
            for (std::size_t t = 0; t < tables_.size(); ++t)
                if (drifted_[t] != 0.0) mass[d] += tables_[t](own_[t] + kDrifts[d] * drifted_[t]);
        }
        const double total = to_chances(mass);
        drift_ = kDrifts[draw(mass, total)];
    }

    std::mt19937_64 random_;
    std::uniform_real_distribution<double> uniform_{0.0, 1.0};
    std::vector<double> values_;
    std::vector<double> mass_, left_;  ///< of each value, as last weighed
    std::vector<std::vector<double>> log_prior_;
    std::vector<std::size_t> state_;
    std::vector<Table> tables_;
    std::vector<double> own_, drifted_;                         // per look: what its spots, and their neighbours, add
    std::vector<std::vector<std::size_t>> seen_by_, aimed_at_;  ///< looks, by spot
    std::vector<std::vector<Part>> parts_;                      ///< [look][spot]
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
