#include "dsp/injectors/click_pair.hpp"

#include <algorithm>
#include <span>

namespace idlehark {

namespace {

constexpr int kSide = ClickEnvelope::steps(0.5e-3);    // of a point, for how steep it rises
constexpr int kToTop = ClickEnvelope::steps(0.6e-3);   // from the steepest rise
constexpr int kBefore = ClickEnvelope::steps(1.5e-3);  // of the steepest rise, which may be the first rebound's
constexpr int kLowFor = ClickEnvelope::steps(0.4e-3);
constexpr int kFurthestStart =
    ClickEnvelope::steps(1.0e-3);  // before the steepest rise; further off it is something else's
constexpr double kOpen = 0.05;     // of the top's power: the click has started
constexpr double kClose = 0.1;     // the same where the opening still rings
constexpr int kApart = ClickEnvelope::steps(0.8e-3);
constexpr int kFurthest = ClickEnvelope::steps(12e-3);
constexpr double kLeastSecond = 0.12;  // rise of the weaker click against the stronger, in amplitude
constexpr double kPerhaps = 0.5;       // of the clearest second rise

/// How steep the amplitude rises at each point.
std::vector<double> rise_of(std::span<const double> power, double noise) {
    std::vector<double> amplitude;
    amplitude.reserve(power.size());
    for (const double v : power) amplitude.push_back(std::sqrt(std::max(v - noise, 0.0)));
    std::vector<double> rise(power.size(), 0.0);
    const auto n = static_cast<int>(power.size());
    for (int i = kSide; i + kSide < n; ++i)
        for (int k = 1; k <= kSide; ++k) rise[index(i)] += (amplitude[index(i + k)] - amplitude[index(i - k)]) / kSide;
    return rise;
}

/// Where clicks start in a mean power.
class Starts {
   public:
    explicit Starts(std::span<const double> power) : power_(power) {}
    [[nodiscard]] int top_of(int about) const {
        int top = about;
        for (int i = about; i <= about + kToTop; ++i)
            if (at(i) > at(top)) top = i;
        return top;
    }
    /// Back from the top to where the power has been low for a while, in steps; a click's modes beat, and it rebounds,
    /// with shorter dips between. NaN where it has never been low since `from`.
    [[nodiscard]] double start(int from, int about, double started) const {
        const int top = top_of(about);
        double base = at(top);
        for (int i = std::max(from, 1); i < top; ++i) base = std::min(base, at(i));
        const double level = base + started * (at(top) - base);
        int start = top;
        int low = 0;
        for (int i = top; i >= std::max(from, 1) && low < kLowFor; --i) {
            low = at(i) > level ? 0 : low + 1;
            if (low == 0) start = i;
        }
        if (start <= from) return std::nan("");
        const double step = at(start) - at(start - 1);
        return start - (step > 0.0 ? std::clamp((at(start) - level) / step, 0.0, 1.0) : 0.0);
    }

   private:
    [[nodiscard]] double at(int i) const {
        return power_[index(std::clamp(i, 0, static_cast<int>(power_.size()) - 1))];
    }
    std::span<const double> power_;
};

}  // namespace

std::vector<ClickPair> find_pairs(const ClickEvents& events) {
    const auto& shape = events.alike ? events.common : events.shape;
    const auto rise = rise_of(shape, events.alike ? events.common_noise : events.noise);
    const auto n = static_cast<int>(shape.size());
    const auto steepest = static_cast<int>(std::max_element(rise.begin(), rise.end()) - rise.begin());
    if (steepest < 1 || steepest + 1 >= n) return {ClickPair{}};

    std::vector<int> seconds;
    for (int i = 1; i + 1 < n; ++i) {
        if (std::abs(i - steepest) < kApart || std::abs(i - steepest) > kFurthest) continue;
        const double r = rise[index(i)];
        if (r >= rise[index(i - 1)] && r >= rise[index(i + 1)] && r > kLeastSecond * rise[index(steepest)])
            seconds.push_back(i);
    }
    std::stable_sort(seconds.begin(), seconds.end(), [&](int a, int b) { return rise[index(a)] > rise[index(b)]; });

    const Starts starts{shape};
    const auto time_s = [&](double step) { return step * ClickEnvelope::kStep_s + events.shape_from_s; };
    if (seconds.empty()) return {{.open_s = time_s(starts.start(steepest - kBefore, steepest, kOpen))}};
    std::vector<ClickPair> pairs;
    for (const int second : seconds) {
        const double share = rise[index(second)] / rise[index(seconds.front())];
        if (share < kPerhaps) break;
        const int opening = std::min(steepest, second);
        const int closing = std::max(steepest, second);
        double open = starts.start(opening - kBefore, opening, kOpen);
        double close = starts.start(starts.top_of(opening), closing, kClose);
        if (!(open > opening - kFurthestStart)) {  // something else sounds before it: by the steepest rises
            open = opening;
            close = closing;
        }
        if (std::isnan(close)) close = open + (closing - opening);
        pairs.push_back({time_s(open), time_s(close), share});
    }
    return pairs;
}

}  // namespace idlehark
