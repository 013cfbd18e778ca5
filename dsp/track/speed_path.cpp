#include "dsp/track/speed_path.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {
constexpr double kStepSpread = 0.006;  // relative speed error of one frame's peak
constexpr double kSlopeSpread = 0.2;   // per second, of one frame's slope against the next one's
constexpr double kJumpCost = 11.0;     // a jump a minute, anywhere in the range
constexpr double kOverlap = 0.5;       // frames overlap: their evidence is not independent
constexpr double kNone = -std::numeric_limits<double>::infinity();
}  // namespace

void SpeedPath::push(const std::vector<CombPeak>& peaks) {
    std::vector<Node> frame;
    frame.reserve(std::max<std::size_t>(peaks.size(), 1));
    const auto add = [&](const CombPeak& p) {
        Node node{.peak = p, .score = 0.0, .from = 0};
        if (!frames_.empty()) {
            const auto& before = frames_.back();
            node.score = kNone;
            for (std::size_t i = 0; i < before.size(); ++i) {
                const auto& q = before[i].peak;
                const double miss =
                    (p.log_cycle_hz - q.log_cycle_hz - 0.5 * hop_s_ * (p.slope_per_s + q.slope_per_s)) / kStepSpread;
                const double bend = (p.slope_per_s - q.slope_per_s) / kSlopeSpread;
                const double score = before[i].score - std::min(0.5 * (miss * miss + bend * bend), kJumpCost);
                if (score > node.score) {
                    node.score = score;
                    node.from = i;
                }
            }
        }
        if (std::isfinite(p.evidence)) node.score += kOverlap * p.evidence;
        frame.push_back(node);
    };
    for (const auto& p : peaks) add(p);
    if (peaks.empty()) {  // silence: the path goes on where it was
        CombPeak held = frames_.empty() ? CombPeak{} : frames_.back().front().peak;
        held.evidence = held.score = kNone;
        add(held);
    }
    double top = kNone;
    for (const auto& n : frame) top = std::max(top, n.score);
    for (auto& n : frame) n.score -= top;  // only differences matter; keeps hours of sums small
    frames_.push_back(std::move(frame));
    if (frames_.size() > remembered_) frames_.pop_front();
}

const std::vector<CombPeak>& SpeedPath::trace() {
    trace_.resize(frames_.size());
    if (frames_.empty()) return trace_;
    const auto& last = frames_.back();
    auto at = static_cast<std::size_t>(
        std::max_element(last.begin(), last.end(), [](const Node& a, const Node& b) { return a.score < b.score; }) -
        last.begin());
    for (std::size_t f = frames_.size(); f-- > 0;) {
        trace_[f] = frames_[f][at].peak;
        at = frames_[f][at].from;
    }
    return trace_;
}

}  // namespace idlehark
