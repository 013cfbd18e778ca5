#pragma once

#include <string>

namespace idlehark {

/// The device chosen last, remembered in $XDG_STATE_HOME/idlehark/device (else ~/.local/state/idlehark/device).
/// Empty if there is none. Remembering is a courtesy: where it cannot be kept, nothing is said.
[[nodiscard]] std::string last_device();
void remember_device(const std::string& name);

/// The folder of the case opened or made last in the window.
[[nodiscard]] std::string last_case();
void remember_case(const std::string& folder);

/// How the window stood when it was closed, one line.
[[nodiscard]] std::string last_window();
void remember_window(const std::string& line);

}  // namespace idlehark
