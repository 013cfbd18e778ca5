#include "dsp/bursts/hiss_finder.hpp"

#include "dsp/bursts/band_slots.hpp"
#include "dsp/bursts/contrast.hpp"
#include "dsp/bursts/levels.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

// Hiss adds power, so the log level of a band rises by 10 log10(1 + hiss/engine), most where the engine is quiet
// between two firings: the mean of the *log* sees weak hiss better than the mean power does, and single loud events
// (knocks, clipped peaks) hardly move it. Every box of onset and length is scored by `Contrast`; the best are examined
// here.

namespace idlehark {
namespace {

// Each side of a box, in turn: short for bursts close together, long for weak ones.
constexpr std::array<Slot, 3> kSides{slots(0.36), slots(1.0), slots(2.0)};
constexpr std::array<Slot, 12> kLengths{15, 19, 24, 31, 40, 52, 67, 86, 111, 144, 187, 250};  // 0.3 to 5 s
constexpr Slot kReach = kLengths.back() + Contrast::kGap + kSides.back();  // what a decision on an onset waits for
constexpr Slot kAround = Contrast::kGap + kSides.back() + slots(0.2);      // sound around a box that is examined

constexpr Slot kEdgeReach = slots(0.2);  // an edge is sought this far from where the coarse box put it
constexpr Slot kGlance = slots(0.12);    // shortest stretch judged for steadiness: three firings

constexpr double kThreshold = 5.5;  // spreads of the sum over bands
constexpr double kLeastRise_db = 0.5;
constexpr double kHalfRise_s = 0.02;  // a change point lies half-way up the edge; the spray began before
constexpr double kShortest_s = 0.3;   // sibilants of speech are shorter

/// One number per slot: the upper bands, weighted by how clearly a candidate raised each.
class Track {
   public:
    Track(const Levels& levels, Box span, const Contrast::Rise& weight) : first_(span.on), sum_{0.0} {
        for (Slot k = span.on; k < span.off; ++k) {
            double v = 0.0;
            for (std::size_t b = 0; b < BandSlot::kUpper; ++b)
                if (weight[b] > 0.0) v += weight[b] * levels.level_db(BandSlot::kLow + b, k, k + 1);
            sum_.push_back(sum_.back() + v);
        }
    }
    [[nodiscard]] double mean(Slot from, Slot to) const noexcept {
        return (sum_[static_cast<std::size_t>(to - first_)] - sum_[static_cast<std::size_t>(from - first_)]) /
               static_cast<double>(to - from);
    }

    /// The split of [from, to) into two levels that explains the most: where the level changes.
    [[nodiscard]] Slot change_point(Slot from, Slot to) const noexcept {
        Slot best = (from + to) / 2;
        double most = -1.0;
        for (Slot k = from + 2; k <= to - 2; ++k) {
            const double step = mean(k, to) - mean(from, k);
            const double gain = step * step * static_cast<double>((k - from) * (to - k));
            if (gain > most) {
                most = gain;
                best = k;
            }
        }
        return best;
    }

    /// Least and spread of the means over one glance, half a glance apart; the spread by median absolute deviation, so
    /// that a knock in it does not excuse everything else.
    struct Glances {
        double least = 0.0;
        double sd = 0.0;
    };
    [[nodiscard]] Glances glances(Slot from, Slot to) const {
        std::vector<double> v;
        for (Slot k = from; k + kGlance <= to; k += kGlance / 2) v.push_back(mean(k, k + kGlance));
        return {.least = *std::min_element(v.begin(), v.end()),
                .sd = stats::kMadToSd * stats::median_absolute_deviation(v)};
    }

   private:
    Slot first_;
    std::vector<double> sum_;  ///< sum_[i] covers the slots before first_ + i
};

}  // namespace

struct HissFinder::Parts {
    struct Candidate {
        Box box;
        double strength;
        HissBurst burst;
    };

    explicit Parts(const HissFinderConfig& c)
        : config(c),
          front(c.sample_rate_hz),
          contrasts{Contrast(kSides[0], front.upper_bands()), Contrast(kSides[1], front.upper_bands()),
                    Contrast(kSides[2], front.upper_bands())} {}

    HissFinderConfig config;
    BandSlots front;
    Levels levels;
    std::array<Contrast, kSides.size()> contrasts;
    Slot next_on = 0;                ///< next onset to look at
    std::vector<Candidate> waiting;  ///< by onset; none overlaps another
    std::vector<HissBurst> found;

    void add(const BandSlot& s) {
        levels.add(s);
        for (Contrast& c : contrasts) c.listen(levels);
        if (next_on + kReach <= levels.end()) look_at_onset();
    }

    void look_at_onset() {
        const Slot on = next_on++;
        for (const Slot length : kLengths)
            for (const Contrast& contrast : contrasts) {
                const Box box{on, on + length};
                if (!contrast.ready() || !contrast.applies(levels, box)) continue;
                if (contrast.score(contrast.rise_db(levels, box)) < kThreshold) continue;
                if (const auto c = examine(box, contrast)) consider(*c);
            }
        // A box is settled when no onset still to come can overlap it.
        std::erase_if(waiting, [&](const Candidate& c) {
            const bool settled = c.box.off + kEdgeReach <= next_on;
            if (settled) found.push_back(c.burst);
            return settled;
        });
    }

    /// Of candidates that overlap only the strongest stays.
    void consider(const Candidate& c) {
        const auto overlaps = [&](const Candidate& w) { return w.box.on < c.box.off && c.box.on < w.box.off; };
        if (std::any_of(waiting.begin(), waiting.end(),
                        [&](const Candidate& w) { return overlaps(w) && w.strength >= c.strength; }))
            return;
        std::erase_if(waiting, overlaps);
        waiting.insert(std::upper_bound(waiting.begin(), waiting.end(), c,
                                        [](const Candidate& a, const Candidate& b) { return a.box.on < b.box.on; }),
                       c);
    }

    [[nodiscard]] std::optional<Candidate> examine(Box rough, const Contrast& contrast) const;
};

std::optional<HissFinder::Parts::Candidate> HissFinder::Parts::examine(Box rough, const Contrast& contrast) const {
    Contrast::Rise weight = contrast.weights(contrast.rise_db(levels, rough));
    double total = 0.0;
    for (const double w : weight) total += w;
    if (total <= 0.0) return std::nullopt;
    for (double& w : weight) w /= total;
    const Box span{std::max<Slot>(0, rough.on - kAround), std::min(levels.end(), rough.off + kAround)};
    const Track track(levels, span, weight);

    // Edges, from the change of level around each; then everything again for the box they make.
    const Box box{
        track.change_point(std::max(span.on, rough.on - kEdgeReach), std::min(rough.on + kEdgeReach, rough.off)),
        track.change_point(std::max(rough.off - kEdgeReach, rough.on), std::min(span.off, rough.off + kEdgeReach))};
    if (box.off - box.on < slots(kShortest_s) || !contrast.applies(levels, box)) return std::nullopt;
    const Contrast::Rise rise = contrast.rise_db(levels, box);
    const double score = contrast.score(rise);
    double net_rise = 0.0;
    for (std::size_t b = 0; b < weight.size(); ++b) net_rise += weight[b] * rise[b];
    if (score < kThreshold || net_rise < kLeastRise_db) return std::nullopt;

    const Box before{box.on - Contrast::kGap - contrast.side(), box.on - Contrast::kGap};
    const Box after{box.off + Contrast::kGap, box.off + Contrast::kGap + contrast.side()};
    const double base = std::max(track.mean(before.on, before.off), track.mean(after.on, after.off));
    const double height = track.mean(box.on, box.off) - base;

    // Steady: the top has no hole and moves little more than the sound around it does.
    const double noise = std::min(track.glances(span.on, before.off).sd, track.glances(after.on, span.off).sd);
    const auto top = track.glances(box.on + 1, box.off - 1);
    if (top.least - base < 0.5 * height - 2.5 * noise) return std::nullopt;
    if (top.sd > 1.5 * noise + 0.15 * height) return std::nullopt;

    // Abrupt: most of the height comes and goes within a glance of either edge.
    const auto sharp = [&](double inside, double outside) {
        return inside - base > 0.6 * height - 2.0 * noise && outside - base < 0.35 * height + 2.0 * noise;
    };
    if (!sharp(track.mean(box.on + 1, box.on + 1 + kGlance), track.mean(box.on - 2 - kGlance, box.on - 2)))
        return std::nullopt;
    if (!sharp(track.mean(box.off - 1 - kGlance, box.off - 1), track.mean(box.off + 2, box.off + 2 + kGlance)))
        return std::nullopt;

    // Noise-like: no more peaks over the bins than noise has, or than the sound around has.
    double peaks = 0.0;
    double peaks_around = 0.0;
    for (std::size_t b = 0; b < weight.size(); ++b) {
        peaks += weight[b] * levels.peakiness(b, box.on, box.off);
        peaks_around +=
            0.5 * weight[b] * (levels.peakiness(b, before.on, before.off) + levels.peakiness(b, after.on, after.off));
    }
    if (peaks > std::max(2.4, peaks_around + 0.2)) return std::nullopt;

    const double around = std::max(levels.upper_power(before.on, before.off), levels.upper_power(after.on, after.off));
    const double added = std::max(levels.upper_power(box.on, box.off) / around - 1.0, 1e-3);
    const double from_s = std::max(0.0, static_cast<double>(box.on) * BandSlots::kSlot_s - kHalfRise_s);
    const double length_s = static_cast<double>(box.off) * BandSlots::kSlot_s - from_s;
    return Candidate{.box = box,
                     .strength = height * std::sqrt(length_s),
                     .burst = {.time_s = from_s,
                               .duration_s = length_s,
                               .level_db = 10.0 * std::log10(added),
                               .confidence = 1.0 - 0.5 * std::exp(1.0 - score / kThreshold)}};
}

HissFinder::HissFinder(const HissFinderConfig& config) : parts_(std::make_unique<Parts>(config)) {}
HissFinder::~HissFinder() = default;
HissFinder::HissFinder(HissFinder&&) noexcept = default;
HissFinder& HissFinder::operator=(HissFinder&&) noexcept = default;

void HissFinder::process(AudioView x) {
    parts_->front.process(x, [this](const BandSlot& s) { parts_->add(s); });
}

void HissFinder::finish() {
    while (parts_->next_on < parts_->levels.end()) parts_->look_at_onset();
    for (const auto& c : parts_->waiting) parts_->found.push_back(c.burst);
    parts_->waiting.clear();
}

void HissFinder::reset() { *parts_ = Parts(parts_->config); }

const std::vector<HissBurst>& HissFinder::bursts() const noexcept { return parts_->found; }

std::vector<HissBurst> find_hiss(const HissFinderConfig& config, AudioView x) {
    HissFinder finder(config);
    finder.process(x);
    finder.finish();
    return finder.bursts();
}

}  // namespace idlehark
