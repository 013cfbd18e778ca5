#pragma once

#include "dsp/sim/session.hpp"
#include "gui/view_state.hpp"

#include <vector>

namespace idlehark {

/// The verdicts against what the simulator hid. A leak below what the test could prove is missed all the same.
[[nodiscard]] gui::ScoreView score_practice(const sim::SessionSpec& truth, const std::vector<gui::SpotView>& spots,
                                            const std::vector<sim::SessionBurst>& bursts);

}  // namespace idlehark
