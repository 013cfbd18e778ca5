#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace idlehark {

// Where things lie, by the XDG Base Directory Specification 0.8 and xdg-user-dirs. A variable that holds a relative
// path is ignored, as the specification asks. Nothing is made or written here; there is no configuration file.

/// What the program remembers for itself: $XDG_STATE_HOME/idlehark, else ~/.local/state/idlehark. Nothing without a
/// home.
[[nodiscard]] std::optional<std::filesystem::path> state_folder();

/// Where the window keeps cases unless told otherwise: idlehark-cases in the home folder if it is there already, else
/// in the folder for documents (XDG_DOCUMENTS_DIR, from the environment or user-dirs.dirs) if that exists, else in the
/// home folder; without a home in the current one. Cases are the user's own papers: never in a hidden folder.
[[nodiscard]] std::filesystem::path usual_cases_folder();

/// The bundled recording: beside the program as installed (share/idlehark/recordings), in the source tree that the
/// program was built in, else in $XDG_DATA_DIRS. The first of these if it is nowhere, for the message.
[[nodiscard]] std::filesystem::path recordings_folder();

}  // namespace idlehark
