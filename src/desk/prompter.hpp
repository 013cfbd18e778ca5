#pragma once

#include "gui/view_state.hpp"
#include "src/capture/audio_system.hpp"
#include "src/capture/output_stream.hpp"
#include "src/result.hpp"

#include <optional>
#include <string>

namespace idlehark {

/// Says or beeps what the visit wants said, on the system's default output. The device is opened with the first prompt.
/// Threads  one owner.
class Prompter {
   public:
    void choose(gui::Prompts style) { style_ = style; }
    [[nodiscard]] gui::Prompts style() const noexcept { return style_; }
    /// A newer prompt cuts an older one short. Errors: no output; then nothing more is tried until choose().
    Result<Done> say(const std::string& text);
    void hush();

   private:
    gui::Prompts style_ = gui::Prompts::off;
    std::optional<AudioSystem> system_;
    std::optional<OutputStream> output_;
};

}  // namespace idlehark
