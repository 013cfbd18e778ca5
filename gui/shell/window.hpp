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

/// How the drawing went, for measuring.
struct FrameReport {
    double first_ms = 0.0;  ///< from the call of run_window to the first picture on the screen
    double open_s = 0.0;    ///< from the first picture to the end
    std::size_t frames = 0;
    double median_ms = 0.0, late_ms = 0.0, longest_ms = 0.0;  ///< of a frame; late: 99 % are shorter
};

struct WindowOptions {
    std::optional<unsigned> width, height;
    std::optional<float> scale;  ///< 1..3
    std::optional<Language> language;
    std::string memory;          ///< what the last window left, as of `left_memory`
    std::string picture_folder;  ///< for F12
    std::function<void(const std::string&)> keep_memory;
    std::function<void(const FrameReport&)> report_frames;  ///< on closing; may be empty
    std::optional<double> close_after_s;                    ///< by itself, for measuring
    std::string last_picture;       ///< where a picture of it is left when it closes by itself; empty: none
    Stage stage = Stage::describe;  ///< the page it opens on
};

struct WindowFault {
    std::string what, hint;
};

/// Opens the window and runs it until it is closed. On the main thread.
/// Errors   no display, no OpenGL, no font: at once, before anything is drawn.
[[nodiscard]] std::optional<WindowFault> run_window(const Wires& wires, const WindowOptions& options);

}  // namespace idlehark::gui
