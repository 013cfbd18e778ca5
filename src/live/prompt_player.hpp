#pragma once

#include "src/capture/sound_output.hpp"
#include "src/live/voice.hpp"

#include <memory>
#include <string>
#include <utility>
#include <vector>

namespace idlehark {

/// Says prompts on an output that plays one sound at a time. No newest prompt is ever lost, "do not spray" least of
/// all: it cuts an older one short and is played as soon as the output lets go of that. Of several that wait the newest
/// counts.
/// Use      say(), and pump() many times a second. Threads: one owner.
class PromptPlayer {
   public:
    explicit PromptPlayer(std::unique_ptr<SoundOutput> output) : output_(std::move(output)) {}
    void say(const std::string& text, PromptStyle style, bool asks_for_spray);
    void pump();
    /// Silence: what plays is cut short, what waits is not played any more.
    void hush();
    /// Something is still to be played: pump().
    [[nodiscard]] bool waiting() const noexcept { return !next_.empty(); }

   private:
    std::unique_ptr<SoundOutput> output_;
    std::vector<float> next_;
};

}  // namespace idlehark
