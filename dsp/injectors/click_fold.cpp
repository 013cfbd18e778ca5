#include "dsp/injectors/click_fold.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace idlehark {

namespace {

constexpr double kHeardScatters = 5.0;
constexpr double kNear_s = 1.5e-3;     // an injector's own place in the cycle may be off by so much
constexpr double kClickSide_s = 6e-3;  // of a pair of clicks about the stronger one
constexpr std::size_t kFewestBeside = 20;
constexpr double kBesideShare = 0.9;
constexpr double kClickShare = 0.15;  // of its top: part of the pair
constexpr double kFarSide_s = 12e-3;  // from kClickSide_s to here on both sides: what the place itself stands on
constexpr double kFloorShare = 0.4;   // of that, where a neighbour's click may be

}  // namespace

CyclePlaces::CyclePlaces(const CrankClock& clock, const ClickPath& path) : clock_(clock) {
    // The path moves in whole frames: its course is the mean of five.
    const auto& at = path.at_cycles;
    for (std::size_t k = 0; k < at.size(); ++k) {
        const std::size_t side = std::min({k, at.size() - 1 - k, std::size_t{2}});
        double sum = 0.0;
        for (std::size_t i = k - side; i <= k + side; ++i) sum += at[i];
        at_.push_back(sum / static_cast<double>(2 * side + 1));
    }
}

double CyclePlaces::time_s(std::size_t k, double after_cycles) const {
    const std::size_t next = std::min(k + 1, at_.size() - 1);
    const double length = next > k ? at_[next] - at_[k] : 1.0;
    return clock_.time_at(at_[k] + after_cycles * length);
}

ClickFold fold_clicks(const ClickBands& bands, std::span<const double> weights, const CrankClock& clock,
                      const ClickPath& path) {
    const CyclePlaces places{clock, path};
    const auto size = static_cast<std::size_t>(std::lround(mean_period_s(clock, path) / kFoldStep_s));
    const double sum = std::max(std::accumulate(weights.begin(), weights.end(), 0.0), 1e-30);
    ClickFold fold;
    fold.power.assign(size, 0.0);
    std::vector<double> squares(size, 0.0);
    std::vector<double> counts(size, 0.0);
    std::vector<float> power(bands.frames());
    for (std::size_t k = 0; k < power.size(); ++k) {
        double level = 0.0;
        const auto row = bands.frame(k);
        for (std::size_t b = 0; b < weights.size(); ++b) level += weights[b] * static_cast<double>(row[b]);
        power[k] = static_cast<float>(level / sum);
    }
    for (std::size_t k = 0; k < places.cycles(); ++k) {
        const double from = places.time_s(k, -0.25);
        const double to = places.time_s(k, 0.75);
        for (std::size_t m = 0; m < size; ++m) {
            const double t = std::lerp(from, to, (static_cast<double>(m) + 0.5) / static_cast<double>(size));
            const double frame = t / bands.hop_s + 0.5;
            if (frame < 0.0 || frame >= static_cast<double>(power.size())) continue;
            const auto v = static_cast<double>(power[static_cast<std::size_t>(frame)]);
            fold.power[m] += v;
            squares[m] += v * v;
            counts[m] += 1.0;
        }
    }
    for (std::size_t m = 0; m < size; ++m) {
        const double n = std::max(counts[m], 1.0);
        fold.power[m] /= n;
        squares[m] = std::sqrt(std::max(squares[m] / n - fold.power[m] * fold.power[m], 0.0) / n);
    }
    fold.error = stats::quantile(squares, 0.25);
    return fold;
}

FoldedClick::FoldedClick(std::span<const double> fold) : fold_(fold) {
    const std::size_t n = fold.size();
    const auto own = static_cast<std::size_t>(std::lround(0.25 * static_cast<double>(n)));
    const auto reach = static_cast<std::size_t>(kPlaceSide_s / kFoldStep_s);
    std::size_t top = own;
    for (std::size_t m = own - std::min(own, reach); m <= std::min(own + reach, n - 1); ++m)
        if (fold[m] > fold[top]) top = m;
    top_ = top;
    const auto side = static_cast<std::size_t>(kClickSide_s / kFoldStep_s);
    const double floor = floor_at(top);
    double squares = 0.0;
    for (std::size_t k = 0; k <= 2 * side; ++k) {
        const double over = fold[(top + n - side + k) % n] - floor;
        weight_.push_back(over > kClickShare * (fold[top] - floor) ? over : 0.0);
        squares += weight_.back() * weight_.back();
    }
    for (double& w : weight_) w /= std::max(squares, 1e-30);
}

double FoldedClick::at(std::size_t m) const {
    const std::size_t n = fold_.size();
    const std::size_t side = weight_.size() / 2;
    const double floor = floor_at(m);
    double sum = 0.0;
    for (std::size_t k = 0; k < weight_.size(); ++k) sum += weight_[k] * (fold_[(m + n - side + k) % n] - floor);
    return sum;
}

double FoldedClick::floor_at(std::size_t m) const {
    const std::size_t n = fold_.size();
    const auto far = static_cast<std::size_t>(kFarSide_s / kFoldStep_s);
    std::vector<double> beside;
    for (auto k = static_cast<std::size_t>(kClickSide_s / kFoldStep_s); k <= far; ++k) {
        beside.push_back(fold_[(m + k) % n]);
        beside.push_back(fold_[(m + n - k % n) % n]);
    }
    return stats::quantile(beside, kFloorShare);
}

FoldedClick::Found FoldedClick::most_near(double after_cycles) const {
    const auto n = std::ssize(fold_);
    const auto middle = std::lround(static_cast<double>(top_) + after_cycles * static_cast<double>(n));
    const auto reach = std::lround(kNear_s / kFoldStep_s);
    Found best{0.0, after_cycles};
    double most = -std::numeric_limits<double>::infinity();
    for (auto m = middle - reach; m <= middle + reach; ++m) {
        const double v = at(static_cast<std::size_t>((m % n + n) % n));
        if (v <= most) continue;
        most = v;
        best = {std::max(v, 0.0), static_cast<double>(m - static_cast<std::ptrdiff_t>(top_)) / static_cast<double>(n)};
    }
    return best;
}

double FoldedClick::threshold(double error, std::span<const double> places) const {
    double squares = 0.0;
    for (const double w : weight_) squares += w * w;
    const double chance = kHeardScatters * error * std::sqrt(squares);
    const auto n = static_cast<double>(fold_.size());
    std::vector<double> between;
    for (std::size_t m = 0; m < fold_.size(); ++m) {
        const bool beside = std::all_of(places.begin(), places.end(), [&](double after) {
            double off = (static_cast<double>(m) - static_cast<double>(top_)) / n - after;
            off -= std::round(off);
            return std::fabs(off) * n * kFoldStep_s > kClearOfPlace_s;
        });
        if (beside) between.push_back(at(m));
    }
    return between.size() < kFewestBeside ? chance : std::max(chance, stats::quantile(between, kBesideShare));
}

}  // namespace idlehark
