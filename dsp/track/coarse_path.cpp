#include "dsp/track/coarse_path.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace idlehark {

namespace {
constexpr double kDrowned = 0.65;      // of the usual score: below, the frame's peak may be anything's
constexpr double kUsualScore = 0.75;   // quantile
constexpr double kUsualMemory = 0.97;  // from one segment to the next: half a second
constexpr double kFar = 0.008;         // relative; what is nearer the refiner finds by itself
}  // namespace

std::span<const CoarsePoint> DrownedFrames::bridged(std::span<const CoarsePoint> path, double first_s) {
    scores_.clear();
    for (const auto& p : path)
        if (p.time_s > first_s && std::isfinite(p.score)) scores_.push_back(p.score);
    if (scores_.empty()) return {};
    const auto usual =
        scores_.begin() + static_cast<std::ptrdiff_t>(kUsualScore * static_cast<double>(scores_.size() - 1));
    std::nth_element(scores_.begin(), usual, scores_.end());
    usual_score_ = std::max(*usual, kUsualMemory * usual_score_);

    const auto clear = [this](const CoarsePoint& p) { return p.score >= kDrowned * usual_score_; };
    if (std::all_of(path.begin(), path.end(), clear)) return {};
    bridged_.assign(path.begin(), path.end());
    const auto end = bridged_.end();
    auto before = std::find_if(bridged_.begin(), end, clear);
    if (before == end) return {};
    for (auto p = bridged_.begin(); p != before; ++p) p->cycle_hz = before->cycle_hz;
    while (before != end) {
        const auto after = std::find_if(before + 1, end, clear);
        const auto& far = after == end ? *before : *after;
        for (auto p = before + 1; p != after; ++p) {
            const double u = after == end ? 0.0 : (p->time_s - before->time_s) / (far.time_s - before->time_s);
            p->cycle_hz = before->cycle_hz + u * (far.cycle_hz - before->cycle_hz);
        }
        before = after;
    }
    const bool near = std::equal(path.begin(), path.end(), bridged_.begin(), [](const auto& was, const auto& is) {
        return std::abs(was.cycle_hz - is.cycle_hz) <= kFar * is.cycle_hz;
    });
    return near ? std::span<const CoarsePoint>{} : bridged_;
}

}  // namespace idlehark
