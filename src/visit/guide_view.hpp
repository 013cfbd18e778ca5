#pragma once

#include "src/live/listen_view.hpp"
#include "src/live/terminal.hpp"
#include "src/visit/guided_visit.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// What the keys typed so far mean; the terminal's guide keeps one.
struct GuideKeys {
    std::string spot;  ///< digits typed
    bool wants_end = false;
    /// Set when Enter or space said "now": the spots sprayed (practice sprays them), empty otherwise.
    std::vector<std::string> sprayed;
};

/// One key: y/n answer the caution that is asked; space or Enter marks a burst now; digits name another spot first;
/// w the last burst was there; r again, s skip, u undo, q stop.
void guide_key(GuideKeys& keys, char key, SprayVisit& visit, double now_s);

/// The lines to show, most needed first: the sentence, why, the speed, every spot's standing. The alternatives and who
/// comes first stand above the cautions.
[[nodiscard]] std::vector<std::string> guide_lines(const GuidedVisit& guided, const GuideKeys& keys,
                                                   const ListenView& sound, TerminalSize size, bool unicode);

/// A table of all spots as the last plan sees them, for the end and for `plan`.
[[nodiscard]] std::vector<std::string> spot_table(const plan::PlanStep& step, const BayMap& map);

}  // namespace idlehark
