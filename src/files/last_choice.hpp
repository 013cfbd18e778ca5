#pragma once

#include <string>

namespace idlehark {

/// The device chosen last, remembered in $XDG_STATE_HOME/idlehark/device (else ~/.local/state/idlehark/device).
/// Empty if there is none. Remembering is a courtesy: where it cannot be kept, nothing is said.
[[nodiscard]] std::string last_device();
void remember_device(const std::string& name);

}  // namespace idlehark
