#include "src/desk/practice_truth.hpp"

namespace idlehark {

gui::ScoreView score_practice(const sim::SessionSpec& truth, const std::vector<gui::SpotView>& spots,
                              const std::vector<sim::SessionBurst>& bursts) {
    gui::ScoreView score;
    score.shown = true;
    for (std::size_t i = 0; i < truth.spots.size() && i < spots.size(); ++i) {
        const bool leaks = truth.leak_rpm[i] != 0.0;
        const bool said = spots[i].verdict == SprayVerdict::leak;
        if (leaks && said) ++score.found;
        if (leaks && !said) {
            ++score.missed;
            score.missed_spots.push_back(truth.spots[i].id);
        }
        if (!leaks && said) {
            ++score.wrong;
            score.wrong_spots.push_back(truth.spots[i].id);
        }
    }
    for (const auto& b : bursts) score.spray_s += b.duration_s;
    return score;
}

}  // namespace idlehark
