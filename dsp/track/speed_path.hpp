#pragma once

#include "dsp/track/comb_search.hpp"

#include <cstddef>
#include <deque>
#include <vector>

namespace idlehark {

/// The best path through the peaks of the last frames (Viterbi). A step that agrees with both frames' slopes is free; a
/// jump costs, at most `kJumpCost`. The path is traced back from the newest frame, so a frame's place in it is final
/// only once enough frames have followed: the caller's look-ahead.
class SpeedPath {
   public:
    SpeedPath(double hop_s, std::size_t remembered_frames) : hop_s_(hop_s), remembered_(remembered_frames) {}

    /// The peaks of the next frame; none where there is nothing to hear (the path then goes on as it was).
    void push(const std::vector<CombPeak>& peaks);
    /// The best path over the remembered frames, oldest first; evidence is -infinity where a frame had no peak.
    [[nodiscard]] const std::vector<CombPeak>& trace();

   private:
    struct Node {
        CombPeak peak;
        double score;
        std::size_t from;
    };
    double hop_s_;
    std::size_t remembered_;
    std::deque<std::vector<Node>> frames_;
    std::vector<CombPeak> trace_;
};

}  // namespace idlehark
