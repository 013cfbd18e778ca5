#include "dsp/injectors/neighbour_places.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {

constexpr double kSurelyThere_db = -4.0;  // a level above this is no neighbour's
constexpr double kNeighbour_db =
    -12.0;                           // how loud neighbours are where the set does not tell; common practice, no source
constexpr double kSpread_db = 3.0;   // from neighbour to neighbour
constexpr double kMostCost = 9.0;    // of one place
constexpr double kUnexpected = 3.0;  // cost of a click where none should be, at the least heard
constexpr double kFreeLevel = 1.0;   // cost of the own level, of which nothing is expected
constexpr double kAlike_db = -2.0;
constexpr double kEngineItself = 5.0;
constexpr std::size_t kMostFaint = 10;

double capped(double v) { return std::min(v * v, kMostCost); }

class PlaceBook {
   public:
    PlaceBook(std::span<const ProbedInjector> set, std::span<const double> levels_db, const Engine& engine)
        : set_(set), levels_db_(levels_db), fractions_(firing_fractions(engine)), place_of_(fractions_.size()) {
        for (std::size_t k = 0; k < fractions_.size(); ++k)
            place_of_[static_cast<std::size_t>(engine.firing_order.empty() ? static_cast<int>(k)
                                                                           : engine.firing_order[k] - 1)] = k;
        for (const auto& p : set)
            for (const double from : fractions_)
                for (const double to : fractions_)
                    looks_.push_back(place_heard(p.recording, to - from - std::floor(to - from)));
        std::vector<double> heard;
        for (std::size_t i = 0; i < set.size(); ++i)
            for (std::size_t j = 0; j < set.size(); ++j)
                if (i != j && there(i) && there(j))
                    if (const auto p = look(i, place(set[i].cylinder), place(set[j].cylinder)); p.heard)
                        heard.push_back(levels_db[i] + p.level_db);
        if (heard.size() >= 2) neighbour_db_ = stats::median(heard);
    }

    [[nodiscard]] bool there(std::size_t i) const { return levels_db_[i] > kSurelyThere_db; }

    /// How badly the places heard in recording i agree with a choice of silent injectors.
    [[nodiscard]] double cost(std::size_t i, const std::vector<char>& silent) const {
        if (!std::isfinite(levels_db_[i])) return silent[i] ? 0.0 : kMostCost;
        const std::size_t own = place(set_[i].cylinder);
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t strongest = 0; strongest < fractions_.size(); ++strongest) {
            if (there(i) && strongest != own) continue;
            double sum = 0.0;
            for (std::size_t j = 0; j < set_.size(); ++j) {
                const auto p = strongest == place(set_[j].cylinder) ? ProbeRecording::Place{0, 0.0, 0.0, true}
                                                                    : look(i, strongest, place(set_[j].cylinder));
                sum += cost_of(i, j, p, silent);
            }
            least = std::min(least, sum);
        }
        return least;
    }

   private:
    [[nodiscard]] std::size_t place(int cylinder) const { return place_of_[static_cast<std::size_t>(cylinder - 1)]; }

    /// What recording i has at one place if its strongest click is at another.
    [[nodiscard]] const ProbeRecording::Place& look(std::size_t i, std::size_t from, std::size_t to) const {
        return looks_[(i * fractions_.size() + from) * fractions_.size() + to];
    }

    [[nodiscard]] double cost_of(std::size_t i, std::size_t j, const ProbeRecording::Place& p,
                                 const std::vector<char>& silent) const {
        const double faintest_db = set_[i].recording.hearing_db;
        const double over_db = levels_db_[i] + p.level_db;
        if (silent[j])
            return p.heard ? std::min(kUnexpected + capped((p.level_db - faintest_db) / kSpread_db), kMostCost) : 0.0;
        if (i == j) return p.heard ? kFreeLevel : kMostCost;
        const double expected_db = neighbour_db_ + std::min(levels_db_[j], 0.0);
        if (p.heard) return capped((over_db - expected_db) / kSpread_db);
        return capped(std::max(0.0, (expected_db - levels_db_[i] - faintest_db) / kSpread_db));
    }

    std::span<const ProbedInjector> set_;
    std::span<const double> levels_db_;
    std::vector<double> fractions_;
    std::vector<std::size_t> place_of_;  // by cylinder, from 0
    std::vector<ProbeRecording::Place> looks_;
    double neighbour_db_ = kNeighbour_db;
};

}  // namespace

bool every_firing_alike(const ProbeRecording& r) {
    return r.others.size() >= 2 && std::all_of(r.others.begin(), r.others.end(), [](const ProbeRecording::Place& p) {
               return p.heard && p.level_db > kAlike_db;
           });
}

std::vector<double> silence_by_places(std::span<const ProbedInjector> set, std::span<const double> levels_db,
                                      const Engine& engine) {
    std::vector<double> out(set.size(), 0.0);
    std::vector<std::size_t> faint;
    const PlaceBook book{set, levels_db, engine};
    for (std::size_t i = 0; i < set.size(); ++i)
        if (!book.there(i)) faint.push_back(i);
    if (faint.empty() || faint.size() > kMostFaint || set.size() < 2) return out;
    std::vector<double> least[2];
    for (auto& l : least) l.assign(faint.size(), std::numeric_limits<double>::infinity());
    for (std::size_t choice = 0; choice < (std::size_t{1} << faint.size()); ++choice) {
        std::vector<char> silent(set.size(), 0);
        for (std::size_t f = 0; f < faint.size(); ++f) silent[faint[f]] = static_cast<char>(choice >> f & 1U);
        double sum = 0.0;
        for (std::size_t i = 0; i < set.size(); ++i) sum += book.cost(i, silent);
        for (std::size_t f = 0; f < faint.size(); ++f) {
            auto& l = least[choice >> f & 1U][f];
            l = std::min(l, sum);
        }
    }
    for (std::size_t f = 0; f < faint.size(); ++f)
        out[faint[f]] = every_firing_alike(set[faint[f]].recording)
                            ? kEngineItself
                            : std::clamp(least[0][f] - least[1][f], -kMostCost, kMostCost);
    return out;
}

}  // namespace idlehark
