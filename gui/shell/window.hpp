#pragma once

#include "gui/commands.hpp"
#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <functional>
#include <memory>
#include <optional>
#include <string>

namespace idlehark::gui {

/// How the window hears and is heard. Both calls return at once; `view` never gives null.
struct Wires {
    std::function<std::shared_ptr<const ViewState>()> view;
    std::function<void(Command)> send;
};

struct WindowOptions {
    std::optional<unsigned> width, height;
    std::optional<float> scale;  ///< 1..3
    std::optional<Language> language;
    std::string memory;          ///< what the last window left, as of `left_memory`
    std::string picture_folder;  ///< for F12
    std::function<void(const std::string&)> keep_memory;
    bool report_frames = false;  ///< on closing, prints how long frames took: for measuring
};

struct WindowFault {
    std::string what, hint;
};

/// Opens the window and runs it until it is closed. On the main thread.
/// Errors   no display, no OpenGL, no font: at once, before anything is drawn.
[[nodiscard]] std::optional<WindowFault> run_window(const Wires& wires, const WindowOptions& options);

}  // namespace idlehark::gui
