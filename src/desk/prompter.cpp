#include "src/desk/prompter.hpp"

#include "src/capture/output_stream.hpp"

#include <utility>

namespace idlehark {

Result<std::unique_ptr<SoundOutput>> Prompter::open_default() {
    auto system = AudioSystem::open();
    if (!system) return system.error();
    system_.emplace(std::move(system.value()));
    const auto device = choose_output(system_->devices(), "");
    if (!device) return device.error();
    auto output = OutputStream::open(device.value());
    if (!output) return output.error();
    return std::unique_ptr<SoundOutput>{std::make_unique<OutputStream>(std::move(output.value()))};
}

void Prompter::choose(gui::Prompts style) {
    style_ = style;
    if (style_ == gui::Prompts::off) hush();
}

Result<Done> Prompter::say(const std::string& text, bool asks_for_spray) {
    if (style_ == gui::Prompts::off) return Done{};
    if (!player_) {
        auto output = open_ ? open_() : open_default();
        if (!output) {
            style_ = gui::Prompts::off;
            auto e = output.error();
            e.hint = "Prompts stay on the screen; switch them on again once there is an output.";
            return e;
        }
        player_.emplace(std::move(output.value()));
    }
    player_->say(text, style_ == gui::Prompts::spoken ? PromptStyle::spoken : PromptStyle::beep, asks_for_spray);
    return Done{};
}

void Prompter::pump() {
    if (player_) player_->pump();
}

void Prompter::hush() {
    if (player_) player_->hush();
}

}  // namespace idlehark
