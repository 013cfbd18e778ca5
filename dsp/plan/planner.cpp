#include "dsp/plan/planner.hpp"

#include "dsp/plan/quick_look.hpp"
#include "dsp/plan/targets.hpp"

#include <algorithm>
#include <cmath>
#include <random>
#include <stdexcept>

namespace idlehark::plan {

namespace {

constexpr int kFewestToProve = 2;
constexpr int kForetoldBursts = 3;
constexpr double kStep_s = 0.25;
constexpr double kHeardAfter_s = 5.0;  // a burst counts if at least half of this stretch after it was heard
constexpr long kFewestCells = 40;
constexpr double kWorthJudging = 0.8;
constexpr double kStillNone = 4.0;         // times the risk: a spot once excluded is not taken up again for less
constexpr double kTooLikelyToShare = 0.1;  // above it a spot is sprayed alone
constexpr double kPassWorth = 0.75;        // of a burst: weaker, less sharp in time
constexpr double kStillWet = 0.5;          // worth of a target that must dry first
constexpr double kJitter = 0.05;
constexpr int kEnoughBesideLeak = 2;
constexpr int kMostBesideLeak = 4;
constexpr double kLeaksAnyway = 0.7;
constexpr double kStillBelieved = 0.5;
constexpr double kBelieved = 0.9;  // a proven answer is a leak only if drift from others does not explain it
constexpr int kMostPasses = 2;     // over one spot; then it is sprayed alone
constexpr double kBesideLeak_mm = 100.0;

double entropy(double p) {
    if (p <= 0.0 || p >= 1.0) return 0.0;
    return -(p * std::log2(p) + (1.0 - p) * std::log2(1.0 - p));
}

std::string number(double v) { return std::to_string(std::lround(v)); }
std::string percent(double p) {
    if (p < 0.001) return "under 0.1 %";
    if (p >= 0.1) return number(100.0 * p) + " %";
    const auto tenths = std::lround(1000.0 * p);
    return std::to_string(tenths / 10) + "." + std::to_string(tenths % 10) + " %";
}

class Planner {
   public:
    Planner(std::span<const RpmReading> readings, std::span<const PlannedBurst> bursts,
            std::span<const PlannedSpot> spots, const PlanConfig& config)
        : readings_(readings), bursts_(bursts), spots_(spots), config_(config) {
        if (spots.empty()) throw std::invalid_argument("spots: none");
        if (config.most_per_spot < kFewestToProve || config.most_per_visit < 1 || config.most_in_pass < 1)
            throw std::invalid_argument("limits: a spot needs two bursts at least, a visit one");
        for (const auto& b : bursts) {
            if (b.spots.empty()) throw std::invalid_argument("a burst names no spot");
            for (const std::size_t s : b.spots)
                if (s >= spots.size())
                    throw std::invalid_argument("a burst names spot " + std::to_string(s) + ", not on the map");
        }
        for (const auto& s : spots)
            if (!(s.prior > 0.0 && s.prior < 1.0))
                throw std::invalid_argument("prior: of spot " + s.id + " it is not between 0 and 1");
        step_.all.resize(spots.size());
        wet_.assign(spots.size(), 0);
    }

    PlanStep next() {
        count();
        foretell();
        if (const auto first = first_round()) {
            propose(*first,
                    first->size() > 1 ? "First round: every region is misted once before any gets more."
                                      : "First round: every spot once, in a shuffled order.",
                    "Whatever this one shows, the round goes on; nothing is decided before its end.");
            return std::move(step_);
        }
        gather();
        weigh();
        if (over() || proof_in_reach()) judge();
        decide();
        if (!judged_ && nothing_open()) {  // the last word is the careful one
            judge();
            decide();
        }
        choose();
        return std::move(step_);
    }

   private:
    void count() {
        last_s_.assign(spots_.size(), -std::numeric_limits<double>::infinity());
        for (const auto& b : bursts_) {
            now_s_ = std::max(now_s_, b.time_s);
            if (b.sham) {
                ++shams_;
                continue;
            }
            ++used_;
            for (const std::size_t s : b.spots) {
                ++(b.spots.size() == 1 ? step_.all[s].bursts : step_.all[s].passes);
                last_s_[s] = std::max(last_s_[s], b.time_s);
            }
        }
        if (bursts_.empty()) return;
        const auto& newest = *std::max_element(bursts_.begin(), bursts_.end(),
                                               [](const auto& a, const auto& b) { return a.time_s < b.time_s; });
        last_was_sham_ = newest.sham;
        newest_ = newest.spots;
    }

    void foretell() {
        double first_s = std::numeric_limits<double>::infinity();
        for (const auto& b : bursts_) first_s = std::min(first_s, b.found_onset_s.value_or(b.time_s));
        const auto end = std::find_if(readings_.begin(), readings_.end(),
                                      [&](const RpmReading& r) { return r.time_s >= first_s - 0.5; });
        const auto quiet = readings_.first(static_cast<std::size_t>(end - readings_.begin()));
        step_.smallest_provable_rpm =
            smallest_provable_rpm(quiet, static_cast<int>(spots_.size()), kForetoldBursts, spray_config(1.0 / looks()));
    }

    /// After each of its bursts from the second on, and once more at the end.
    [[nodiscard]] double looks() const { return config_.most_per_spot - kFewestToProve + 2; }
    [[nodiscard]] SprayTestConfig spray_config(double share) const {
        return {.matters_rpm = config_.matters_rpm,
                .familywise_error = std::clamp(config_.familywise_error * share, 0.001, 0.5),
                .idle_control = config_.idle_control,
                .seed = config_.seed};
    }
    [[nodiscard]] bool over() const { return config_.over || used_ >= config_.most_per_visit; }
    [[nodiscard]] int sprayed(std::size_t s) const { return step_.all[s].bursts + step_.all[s].passes; }
    [[nodiscard]] bool may_spray(std::size_t s) const {
        return !spots_[s].left_out && sprayed(s) < config_.most_per_spot;
    }

    /// The first target of the round, in its order, in which a spot has not had its share.
    std::optional<Target> first_round() const {
        if (over()) return {};
        std::vector<bool> from(spots_.size());
        for (std::size_t s = 0; s < spots_.size(); ++s) from[s] = !spots_[s].left_out;
        auto round = config_;
        round.passes = config_.passes && spots_.size() >= config_.pairs_from;
        round.most_in_pass = std::min<std::size_t>(config_.most_in_pass, 2);
        for (auto target : cover(spots_, from, round)) {
            std::erase_if(target, [&](std::size_t s) { return sprayed(s) > 0; });
            if (!target.empty()) return target;
        }
        return {};
    }

    void gather() {
        // The spots themselves come first, at their own places; passes and shams are targets without a place.
        for (std::size_t s = 0; s < spots_.size(); ++s) {
            targets_.push_back({spots_[s].id, spots_[s].place});
            keys_.push_back({s});
        }
        for (const auto& [target, its] : by_target(bursts_)) {
            const std::size_t at = target.size() == 1 ? target.front() : targets_.size();
            if (target.size() != 1) {
                targets_.push_back({"", {}});
                keys_.push_back(target);
                if (target.empty()) sham_at_ = at;
            }
            ++sprayed_targets_;
            for (auto b : its) {
                b.spot = at;
                target_bursts_.push_back(b);
            }
        }
    }

    void weigh() {
        const auto trace = evidence::resample(readings_, kStep_s);
        std::vector<evidence::BurstGroup> groups(targets_.size());
        const auto after = static_cast<long>(kHeardAfter_s / kStep_s);
        for (const auto& b : target_bursts_) {
            const long cell = trace.index(b.found_onset_s.value_or(b.time_s));
            long heard = 0;
            for (long i = std::max(0L, cell); i < std::min(cell + after, static_cast<long>(trace.size())); ++i)
                heard += trace.seen[static_cast<std::size_t>(i)];
            if (2 * heard < after) continue;
            groups[b.spot].cells.push_back(cell);
            groups[b.spot].sharp.push_back(b.found_onset_s.has_value());
        }
        std::vector<Look> looks_taken;
        std::vector<double> grid{-1.0, 0.0, 1.0};
        if (std::count(trace.seen.begin(), trace.seen.end(), 1) >= kFewestCells) {
            auto quick = quick_look(trace, groups, config_.idle_control == IdleControl::regulated);
            grid = std::move(quick.grid_rpm);
            for (std::size_t t = 0; t < targets_.size(); ++t)
                if (!keys_[t].empty() && !quick.targets[t].curve.empty())
                    looks_taken.push_back(look_at(spots_, keys_[t], std::move(quick.targets[t].curve)));
            wet_.assign(spots_.size(), 0);
            for (std::size_t s = 0; s < spots_.size(); ++s) wet_[s] = quick.targets[s].log_odds >= kPlainlyWet;
        }
        std::vector<double> priors;
        for (const auto& s : spots_) priors.push_back(s.prior);
        const auto beliefs = believe(priors, looks_taken, grid, config_.matters_rpm, config_.seed);
        for (std::size_t s = 0; s < spots_.size(); ++s) step_.all[s].belief = beliefs[s];
        verdicts_.assign(spots_.size(), SprayVerdict::undecided);
        for (std::size_t s = 0; s < spots_.size(); ++s)
            if (spots_[s].decided && wet_[s])  // proven earlier; what of the two is judged again at the end
                verdicts_[s] = beliefs[s].leaks >= kStillBelieved ? SprayVerdict::leak : SprayVerdict::overspray;
    }

    /// A look is taken after a burst of the spot's own, and only then: what it spends is counted.
    [[nodiscard]] bool proof_in_reach() const {
        if (last_was_sham_ || newest_.size() != 1) return false;
        const std::size_t s = newest_.front();
        return !spots_[s].decided && step_.all[s].bursts >= kFewestToProve &&
               (step_.all[s].belief.leaks >= kWorthJudging || wet_[s]);
    }
    [[nodiscard]] bool nothing_open() const {
        return std::none_of(step_.all.begin(), step_.all.end(),
                            [](const SpotPlan& s) { return s.decision == SpotDecision::open; });
    }

    void judge() {
        judged_ = true;
        for (auto& s : step_.all) s.decision = SpotDecision::open;
        const double part =
            std::min(1.0, static_cast<double>(sprayed_targets_) / static_cast<double>(spots_.size())) / looks();
        const auto result = evaluate_spray(readings_, target_bursts_, targets_, spray_config(part));
        for (std::size_t s = 0; s < spots_.size(); ++s) {
            auto& out = step_.all[s];
            const auto& r = result.spots[s];
            out.change_rpm = r.change_rpm;
            out.low_rpm = r.low_rpm;
            out.high_rpm = r.high_rpm;
            out.p_value = std::min(1.0, r.p_value * config_.familywise_error / spray_config(part).familywise_error);
            if (answers(r.verdict) || !still_proven(s)) verdicts_[s] = r.verdict;
        }
        if (sham_at_) {
            const auto v = result.spots[*sham_at_].verdict;
            step_.shams_answer = answers(v);
        }
        // What it says of single targets, and of those without a place, does not fit here: passes and shams are
        // targets.
        for (const auto& note : result.notes)
            if (note.rfind("Spot ", 0) != 0 && note.rfind("Not every spot", 0) != 0) step_.notes.push_back(note);
        if (step_.shams_answer)
            step_.notes.insert(step_.notes.begin(),
                               "The idle answers to prompts without spray: leaning on the car, a cable, a draught? "
                               "What is found here cannot be trusted.");
    }

    /// What was proven stays so unless the later sound speaks plainly against it: its look is paid for.
    [[nodiscard]] bool still_proven(std::size_t s) const {
        return spots_[s].decided && answers(verdicts_[s]) && step_.all[s].p_value < 1.0;
    }

    void decide() {
        for (std::size_t s = 0; s < spots_.size(); ++s) {
            auto& out = step_.all[s];
            out.decision = SpotDecision::open;
            const bool wet = verdicts_[s] == SprayVerdict::leak;
            if (wet && out.bursts >= kFewestToProve &&
                out.belief.leaks >= (spots_[s].decided ? kStillBelieved : kBelieved)) {
                out.decision = SpotDecision::leak;
                out.why = "Proven by " + std::to_string(out.bursts) + " bursts of its own.";
            } else if (verdicts_[s] == SprayVerdict::overspray) {
                out.decision = SpotDecision::overspray;
                out.why =
                    "It answers, but spray drifting to a leaking neighbour explains it. Test it again once that "
                    "is mended.";
            }
        }
        for (std::size_t s = 0; s < spots_.size(); ++s) {
            auto& out = step_.all[s];
            if (out.decision != SpotDecision::open) continue;
            const bool wet = verdicts_[s] == SprayVerdict::leak;
            const bool before = spots_[s].decided;
            const double risk = (before ? kStillNone : 1.0) * none_risk(config_, spots_.size());
            if (!wet && sprayed(s) > 0 && out.belief.matters <= risk &&
                (before || out.belief.leaks < suspected() || !may_spray(s))) {
                out.decision = SpotDecision::none;
                out.why = "A change of " + number(config_.matters_rpm) + " rpm or more is excluded.";
            } else if (spots_[s].left_out) {
                out.decision = SpotDecision::undecided;
                out.why = "Left out.";
            } else if (!may_spray(s)) {
                out.decision = SpotDecision::undecided;
                out.why = "Its " + std::to_string(config_.most_per_spot) + " bursts are used up; chance of a leak " +
                          percent(out.belief.leaks) + ".";
            } else if (beside_leak(s) && (out.bursts >= kMostBesideLeak ||
                                          (out.bursts >= kEnoughBesideLeak && out.belief.leaks < kLeaksAnyway))) {
                out.decision = SpotDecision::undecided;
                out.why = "Spray that drifts to the leak beside it hides it. Test it again once that is mended.";
            } else if (before && !taken_up_again(s)) {
                out.decision = SpotDecision::undecided;
                out.why = "It was decided before; later bursts elsewhere changed that.";
            }
        }
    }

    /// Once suspected enough for bursts of its own, and still: what fell back is sprayed on, not left at that.
    [[nodiscard]] bool taken_up_again(std::size_t s) const {
        return step_.all[s].bursts >= kFewestToProve && step_.all[s].belief.leaks >= config_.suspected;
    }
    [[nodiscard]] bool beside_leak(std::size_t s) const {
        for (std::size_t o = 0; o < spots_.size(); ++o)
            if (o != s && step_.all[o].decision == SpotDecision::leak &&
                distance_mm(spots_[s], spots_[o]) <= kBesideLeak_mm)
                return true;
        return false;
    }

    /// Small leaks are doubted more as long as there are bursts to spare.
    [[nodiscard]] double suspected() const {
        const auto asked = static_cast<int>(
            std::count_if(spots_.begin(), spots_.end(), [](const PlannedSpot& s) { return !s.left_out; }));
        const int spare = std::min(static_cast<int>(std::lround(config_.spare_share * asked)), config_.most_spare);
        return used_ < asked + spare ? config_.doubted : config_.suspected;
    }
    [[nodiscard]] double chance(std::size_t s) const {
        const auto& b = step_.all[s].belief;
        return b.leaks >= suspected() ? std::max(b.leaks, b.matters) : b.matters;
    }

    void choose() {
        std::vector<bool> open(spots_.size());
        int room = 0, again = 0;  // bursts for what is open, and for what may be taken up again
        for (std::size_t s = 0; s < spots_.size(); ++s) {
            open[s] = step_.all[s].decision == SpotDecision::open;
            if (open[s])
                room += config_.most_per_spot - sprayed(s);
            else if (may_spray(s) && step_.all[s].bursts >= kFewestToProve)
                again += config_.most_per_spot - sprayed(s);
        }
        const int left = over() ? 0 : config_.most_per_visit - used_;
        step_.at_most_more = room == 0 ? 0 : std::clamp(room + again, 0, left);
        if (room == 0 || left <= 0) {
            end(room == 0);
            return;
        }
        std::mt19937_64 random(config_.seed + 7919ULL * bursts_.size());
        std::uniform_real_distribution<double> jitter(1.0 - kJitter, 1.0 + kJitter);
        Target best;
        double most = -1.0;
        const auto consider = [&](const Target& target, double worth) {
            for (const std::size_t s : target)
                if (now_s_ - last_s_[s] < config_.drying_s) {
                    worth *= kStillWet;
                    break;
                }
            worth *= jitter(random);
            if (worth > most) {
                most = worth;
                best = target;
            }
        };
        for (std::size_t s = 0; s < spots_.size(); ++s)
            if (open[s]) consider({s}, chance(s) > 0.5 ? 1.0 : entropy(chance(s)));
        for (const auto& pass : possible_passes(spots_, open, config_)) {
            double dry = 1.0;
            bool fits = true;
            for (const std::size_t s : pass) {
                fits = fits && chance(s) <= kTooLikelyToShare && step_.all[s].passes < kMostPasses;
                dry *= 1.0 - chance(s);
            }
            if (fits) consider(pass, kPassWorth * entropy(std::min(0.5, 1.0 - dry)));
        }
        if (best.empty()) {  // no chance could be told of any
            end(false);
            return;
        }
        explain(best);
    }

    void explain(const Target& target) {
        if (target.size() > 1) {
            double dry = 1.0;
            for (const std::size_t s : target) dry *= 1.0 - chance(s);
            propose(target,
                    "None of them is suspected, but none is ruled out; together a leak that matters has a chance of " +
                        percent(1.0 - dry) + ".",
                    "No answer rules out " + number(config_.matters_rpm) +
                        " rpm or more there; an answer is followed up spot by spot.");
            return;
        }
        const auto& s = step_.all[target.front()];
        if (chance(target.front()) > 0.5)
            propose(target,
                    "The likeliest leak not yet decided: " + percent(s.belief.leaks) + ", about " +
                        number(s.belief.mean_rpm) + " rpm.",
                    s.bursts + 1 < kFewestToProve
                        ? "Two answers of its own can prove it; none, and its neighbours are suspected instead."
                        : "One more answer may prove it; none makes it less likely.");
        else if (s.belief.leaks >= suspected())
            propose(
                target,
                "It is the most doubtful spot: a leak, however small, has a chance of " + percent(s.belief.leaks) + ".",
                "No answer clears it once that chance is under " + percent(suspected()) +
                    "; an answer makes it the suspect.");
        else
            propose(target,
                    "It is not ruled out yet: a leak of " + number(config_.matters_rpm) +
                        " rpm or more has a chance of " + percent(s.belief.matters) + ".",
                    "No answer rules it out once that chance is under " + percent(none_risk(config_, spots_.size())) +
                        "; an answer makes it the suspect.");
    }

    void propose(const Target& target, std::string why, std::string would_change) {
        step_.outcome = PlanStep::Outcome::step;
        step_.spots = target;
        step_.why = std::move(why);
        step_.would_change = std::move(would_change);
        if (step_.at_most_more == 0) {
            int room = 0;
            for (std::size_t s = 0; s < spots_.size(); ++s)
                if (!spots_[s].left_out) room += std::max(0, config_.most_per_spot - sprayed(s));
            step_.at_most_more = std::min(room, config_.most_per_visit - used_);
        }
        if (config_.bursts_per_sham > 0 && !last_was_sham_ && shams_ < used_ / config_.bursts_per_sham) {
            step_.sham = true;
            step_.spots = {target.front()};
            step_.why = "Without spray: shows whether hands and prompts alone move the idle.";
            step_.would_change = "An answer here would mean that nothing found in this visit can be trusted.";
        }
    }

    void end(bool decided) {
        int leaks = 0, undecided = 0;
        for (auto& s : step_.all) {
            if (s.decision == SpotDecision::open) {
                s.decision = SpotDecision::undecided;
                s.why = (config_.over ? "The test ended; chance of a leak "
                                      : "The visit's bursts are used up; chance of a leak ") +
                        percent(s.belief.leaks) + ".";
            }
            leaks += s.decision == SpotDecision::leak;
            undecided += s.decision == SpotDecision::undecided;
        }
        step_.outcome = decided ? PlanStep::Outcome::decided : PlanStep::Outcome::out_of_limits;
        step_.why = leaks == 0   ? "no leak is proven"
                    : leaks == 1 ? "one leak is proven"
                                 : std::to_string(leaks) + " leaks are proven";
        step_.why += undecided == 0 ? ", and every other spot is decided."
                                    : ", " + std::to_string(undecided) +
                                          (undecided == 1 ? " spot stays" : " spots stay") + " undecided.";
        if (!decided && !config_.over) step_.why += " The bursts of this visit are used up.";
    }

    std::span<const RpmReading> readings_;
    std::span<const PlannedBurst> bursts_;
    std::span<const PlannedSpot> spots_;
    PlanConfig config_;
    PlanStep step_;
    std::vector<double> last_s_;
    std::vector<SpraySpot> targets_;  ///< spots, then passes, then shams
    std::vector<Target> keys_;        ///< what each is
    std::vector<SprayBurst> target_bursts_;
    std::size_t sprayed_targets_ = 0;
    std::optional<std::size_t> sham_at_;
    std::vector<SprayVerdict> verdicts_;
    std::vector<char> wet_;
    bool judged_ = false;
    double now_s_ = 0.0;
    int used_ = 0;
    int shams_ = 0;
    bool last_was_sham_ = false;
    Target newest_;  ///< where the last burst went
};

}  // namespace

PlanStep plan_next(std::span<const RpmReading> readings, std::span<const PlannedBurst> bursts,
                   std::span<const PlannedSpot> spots, const PlanConfig& config) {
    return Planner(readings, bursts, spots, config).next();
}

}  // namespace idlehark::plan
