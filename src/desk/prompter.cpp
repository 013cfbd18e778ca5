#include "src/desk/prompter.hpp"

#include "src/live/voice.hpp"

#include <utility>

namespace idlehark {

Result<Done> Prompter::say(const std::string& text) {
    if (style_ == gui::Prompts::off) return Done{};
    if (!output_) {
        const auto give_up = [this](Error e) {
            style_ = gui::Prompts::off;
            e.hint = "Prompts stay on the screen; switch them on again once there is an output.";
            return e;
        };
        auto system = AudioSystem::open();
        if (!system) return give_up(system.error());
        system_.emplace(std::move(system.value()));
        const auto device = choose_output(system_->devices(), "");
        if (!device) return give_up(device.error());
        auto output = OutputStream::open(device.value());
        if (!output) return give_up(output.error());
        output_.emplace(std::move(output.value()));
    }
    output_->hush();
    const double rate_hz = output_->sample_rate_hz();
    output_->play(style_ == gui::Prompts::spoken ? speak(text, rate_hz) : beep(rate_hz));
    return Done{};
}

void Prompter::hush() {
    if (output_) output_->hush();
}

}  // namespace idlehark
