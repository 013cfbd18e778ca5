#pragma once

#include "dsp/sim/session.hpp"
#include "gui/view_state.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// The verdicts against what the simulator hid. A leak below what the test could prove is missed all the same.
[[nodiscard]] gui::ScoreView score_practice(const sim::SessionSpec& truth, const std::vector<gui::SpotView>& spots,
                                            const std::vector<sim::SessionBurst>& bursts);

/// The judged injectors against the truth, a sentence for each that is odd or was called so; nothing if none was
/// judged.
[[nodiscard]] std::vector<std::string> debrief_injectors(const sim::SessionSpec& truth,
                                                         const std::vector<gui::InjectorLine>& told);

}  // namespace idlehark
