#include "src/live/prompt_player.hpp"

#include <utility>

namespace idlehark {

void PromptPlayer::say(const std::string& text, PromptStyle style, bool asks_for_spray) {
    hush();
    if (style == PromptStyle::off) return;
    const double rate_hz = output_->sample_rate_hz();
    next_ = style == PromptStyle::spoken ? speak(text, rate_hz) : beep(rate_hz, asks_for_spray);
    pump();
}

void PromptPlayer::pump() {
    if (!waiting() || output_->playing()) return;
    output_->play(std::exchange(next_, {}));
}

void PromptPlayer::hush() {
    next_.clear();
    output_->hush();
}

}  // namespace idlehark
