#include "dsp/injectors/click_pair.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <array>
#include <limits>

namespace idlehark {

namespace {

constexpr double kLow_s = 0.8e-3;  // before a rise and behind it, in what it is judged
constexpr double kHigh_s = 0.5e-3;
constexpr double kLowRinging_s = 0.3e-3;  // before a rise while the one before it still rings,
constexpr double kRinging_s = 2.5e-3;     // which it does for so long
constexpr double kApart_s = 0.8e-3;       // of two rises
constexpr double kFurthest_s = 12e-3;
constexpr double kPerhaps = 0.5;       // of the clearest second rise
constexpr double kLeastSecond = 0.05;  // of the first
constexpr double kStillest = 1e-3;     // of the top: what counts as silence
constexpr double kWideBand_hz = 5000.0;

/// How far a start is looked for about a rise, and in what stretch.
struct Reach {
    double earlier_s, later_s;
    double from_s, to_s;
};
constexpr Reach kOpening{0.4e-3, 0.3e-3, 1.0e-3, 0.6e-3};
constexpr Reach kClosing{0.3e-3, 0.25e-3, 0.6e-3, 0.5e-3};  // the opening one still rings before it

class Rises {
   public:
    explicit Rises(const PowerCourse& course) : course_(course), power_{0.0}, amplitude_{0.0} {
        for (const double v : course.power) {
            power_.push_back(power_.back() + v);
            amplitude_.push_back(amplitude_.back() + std::sqrt(std::max(v, 0.0)));
        }
        const double top = course.power.empty() ? 0.0 : *std::max_element(course.power.begin(), course.power.end());
        stillest_ = std::max(kStillest * top, 1e-300);
    }
    [[nodiscard]] std::ptrdiff_t steps(double s) const { return std::lround(s / course_.step_s); }
    [[nodiscard]] double time_s(std::ptrdiff_t k) const {
        return course_.from_s + static_cast<double>(k) * course_.step_s;
    }
    [[nodiscard]] std::ptrdiff_t at(double time_s) const { return steps(time_s - course_.from_s); }

    /// How clear it is that the power rises at each place, by `low_s` of sound before it.
    [[nodiscard]] std::vector<double> clearness(double low_s) const {
        const auto n = std::ssize(course_.power);
        const auto low = steps(low_s);
        const auto high = steps(kHigh_s);
        std::vector<double> out(course_.power.size(), 0.0);
        for (auto k = low; k + high <= n; ++k) {
            const double before = mean(power_, k - low, k);
            const double behind = mean(power_, k, k + high);
            if (behind <= before) continue;
            const double likely = change_at(k - low, k - low, k + high) - change_at(k, k - low, k + high);
            const double steep = mean(amplitude_, k, k + high) - mean(amplitude_, k - low, k);
            out[index(k)] = likely * std::sqrt(std::max(steep, 0.0));
        }
        return out;
    }
    /// Where a click starts, near `k`.
    [[nodiscard]] double start_s(std::ptrdiff_t k, const Reach& reach) const {
        const auto n = std::ssize(course_.power);
        const auto from = std::clamp<std::ptrdiff_t>(k - steps(reach.from_s), 0, n);
        const auto to = std::clamp<std::ptrdiff_t>(k + steps(reach.to_s), 0, n);
        double least = std::numeric_limits<double>::infinity();
        auto start = k;
        for (auto i = std::max(k - steps(reach.earlier_s), from + 1); i <= std::min(k + steps(reach.later_s), to - 1);
             ++i) {
            const double unlikely = change_at(i, from, to);
            if (unlikely >= least) continue;
            least = unlikely;
            start = i;
        }
        return time_s(start);
    }

   private:
    static double mean(const std::vector<double>& sums, std::ptrdiff_t a, std::ptrdiff_t b) {
        return (sums[index(b)] - sums[index(a)]) / static_cast<double>(b - a);
    }
    /// Minus the log likelihood of one mean power up to `k` and another behind it.
    [[nodiscard]] double change_at(std::ptrdiff_t k, std::ptrdiff_t from, std::ptrdiff_t to) const {
        const auto part = [&](std::ptrdiff_t a, std::ptrdiff_t b) {
            return a == b ? 0.0 : static_cast<double>(b - a) * std::log(std::max(mean(power_, a, b), stillest_));
        };
        return part(from, k) + part(k, to);
    }

    const PowerCourse& course_;
    std::vector<double> power_, amplitude_;  // sums up to each place
    double stillest_;
};

PowerCourse power_of(const Wave& mean) {
    PowerCourse out{{}, -0.5 * static_cast<double>(mean.size() - 1) * ClickEnvelope::kStep_s, ClickEnvelope::kStep_s};
    for (std::size_t i = 0; i < mean.size(); ++i)
        out.power.push_back(static_cast<double>(mean.re[i] * mean.re[i] + mean.im[i] * mean.im[i]));
    return out;
}

/// The pair of the rise at `opening` and one that comes while it still rings; without a closing click if there is none.
ClickPair early_closing(const Rises& rises, std::ptrdiff_t opening) {
    const auto clear = rises.clearness(kLowRinging_s);
    const auto top = [&](double from_s, double to_s) {
        const auto at = [&](double s) {
            return clear.begin() + std::clamp<std::ptrdiff_t>(opening + rises.steps(s), 0, std::ssize(clear));
        };
        return std::max_element(at(from_s), at(to_s));
    };
    ClickPair pair{.open_s = rises.start_s(opening, kOpening)};
    const auto first = top(-0.5 * kApart_s, 0.5 * kApart_s);
    const auto second = top(kApart_s, kRinging_s);
    if (first == clear.end() || second == clear.end() || *second < kLeastSecond * *first) return pair;
    pair.close_s = rises.start_s(second - clear.begin(), kClosing);
    return pair;
}

}  // namespace

std::vector<ClickPair> find_pairs(const PowerCourse& course) {
    const Rises rises{course};
    auto left = rises.clearness(kLow_s);
    struct Rise {
        std::ptrdiff_t at;
        double clear;
    };
    // The clearest first; what lies beside one belongs to it.
    const auto take = [&](std::ptrdiff_t from, std::ptrdiff_t to) {
        from = std::clamp<std::ptrdiff_t>(from, 0, std::ssize(left));
        to = std::clamp<std::ptrdiff_t>(to, from, std::ssize(left));
        const auto top = std::max_element(left.begin() + from, left.begin() + to);
        const Rise rise{top - left.begin(), from == to ? 0.0 : *top};
        const auto side = rises.steps(kApart_s);
        std::fill(left.begin() + std::max<std::ptrdiff_t>(rise.at - side, 0),
                  left.begin() + std::min(rise.at + side + 1, std::ssize(left)), 0.0);
        return rise;
    };
    const auto first = take(0, std::ssize(left));
    if (first.clear <= 0.0) return {ClickPair{}};
    const auto far = rises.steps(kFurthest_s);
    const auto next = [&] { return take(first.at - far, first.at + far + 1); };
    auto second = next();
    const double clearest = second.clear;
    if (clearest < kLeastSecond * first.clear) return {early_closing(rises, first.at)};
    std::vector<ClickPair> pairs;
    for (; second.clear >= kPerhaps * clearest; second = next())
        pairs.push_back({rises.start_s(std::min(first.at, second.at), kOpening),
                         rises.start_s(std::max(first.at, second.at), kClosing), second.clear / clearest});
    return pairs;
}

std::vector<ClickPair> find_pairs(const ClickEvents& events, AudioView x, double sample_rate_hz, FrequencyRange band) {
    if (!events.alike) return find_pairs(events.shape);
    // In a narrow band no click's time is known as well as its phase: the mean of those turned into phase.
    if (band.high_hz - band.low_hz < kWideBand_hz) return find_pairs(power_of(events.wave.mean));
    std::vector<double> heard_s;
    std::array<std::vector<double>, 2> part_s;
    for (std::size_t e = 0; e < events.heard_s.size(); ++e) {
        if (!std::isfinite(events.heard_s[e])) continue;
        heard_s.push_back(events.heard_s[e]);
        for (std::size_t part = 0; part < part_s.size(); ++part) part_s[part].push_back(events.part_s[e][part]);
    }
    if (heard_s.empty()) return {ClickPair{}};
    auto pairs = find_pairs(mean_power(x, sample_rate_hz, band, heard_s, events.shape.from_s, -events.shape.from_s));

    // Each click moved by what it itself is off.
    const auto by_part = [&](double about_s, std::size_t part, const Reach& reach) {
        if (!std::isfinite(about_s)) return about_s;
        const double off_s = stats::mean(part_s[part]) - stats::mean(heard_s);
        const double from_s = about_s - off_s - reach.from_s - reach.earlier_s;
        const double to_s = about_s - off_s + reach.to_s + reach.later_s;
        const auto course = mean_power(x, sample_rate_hz, band, part_s[part], from_s, to_s);
        const Rises rises{course};
        return rises.start_s(rises.at(about_s - off_s), reach) + off_s;
    };
    for (auto& pair : pairs) {
        pair.open_s = by_part(pair.open_s, 0, kOpening);
        pair.close_s = by_part(pair.close_s, 1, kClosing);
    }
    return pairs;
}

}  // namespace idlehark
