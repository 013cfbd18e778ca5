#pragma once

#include "gui/view_state.hpp"
#include "src/capture/audio_system.hpp"
#include "src/live/prompt_player.hpp"
#include "src/result.hpp"

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>

namespace idlehark {

/// Opens what prompts come out of.
using OpenOutput = std::function<Result<std::unique_ptr<SoundOutput>>()>;

/// Says or beeps what the visit wants said. The output is opened with the first prompt.
/// Threads  one owner.
class Prompter {
   public:
    /// Without `open` on the system's default output.
    explicit Prompter(OpenOutput open = {}) : open_(std::move(open)) {}
    void choose(gui::Prompts style);
    [[nodiscard]] gui::Prompts style() const noexcept { return style_; }
    /// A newer prompt cuts an older one short, and waits until the output is free. Errors: no output; then nothing more
    /// is tried until choose().
    Result<Done> say(const std::string& text, bool asks_for_spray);
    /// Many times a second while `waiting()`: plays what waits.
    void pump();
    [[nodiscard]] bool waiting() const noexcept { return player_ && player_->waiting(); }
    void hush();

   private:
    Result<std::unique_ptr<SoundOutput>> open_default();

    gui::Prompts style_ = gui::Prompts::off;
    OpenOutput open_;
    std::optional<AudioSystem> system_;  ///< outlives the output
    std::optional<PromptPlayer> player_;
};

}  // namespace idlehark
