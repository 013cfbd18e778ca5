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

/// Half of them are shorter than `median`, 95 and 99 % than `p95` and `p99`.
struct Spread {
    double median = 0.0, p95 = 0.0, p99 = 0.0, worst = 0.0;
};

/// How the drawing went, for measuring. In milliseconds; `cpu` is what the window's own thread worked, `wall` what went
/// by meanwhile, others at work on the machine included.
struct FrameReport {
    double first_ms = 0.0;  ///< from the call of run_window to the first picture on the screen
    double open_s = 0.0;    ///< from the first picture to the end
    double worked_s = 0.0;  ///< of processor time in that while, all threads
    std::size_t frames = 0;
    Spread frame_wall, frame_cpu;  ///< of a frame, the first left out
    Spread turn_wall, turn_cpu;    ///< how long the loop was away from the events: taking them, and the frame after
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
