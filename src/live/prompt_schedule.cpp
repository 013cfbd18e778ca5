#include "src/live/prompt_schedule.hpp"

#include <algorithm>

namespace idlehark {

void PromptSchedule::mark(double time_s, const std::string& spot) {
    quiet_until_s_ = std::max(quiet_until_s_, time_s + kAnswer_s);
    noted_ = spot;
    ready_said_ = true;  // whoever sprays needs no leave to start
}

void PromptSchedule::reading(double time_s, bool locked) {
    locked_ = locked;
    if (!locked) return;
    lock_seen_s_ = time_s;
    loss_said_ = false;
}

std::optional<PromptSchedule::Prompt> PromptSchedule::due(double now_s) {
    if (now_s < quiet_until_s_) return {};
    if (!locked_ && now_s - lock_seen_s_ > kLost_s) {
        if (loss_said_) return {};
        loss_said_ = true;
        return Prompt{"No idle speed is heard.", false};
    }
    if (!locked_) return {};
    if (noted_) {
        const auto spot = *noted_;
        noted_.reset();
        return Prompt{"Spot " + spot + " noted. Next.", true};
    }
    if (ready_said_) return {};
    ready_said_ = true;
    return Prompt{"Ready.", true};
}

}  // namespace idlehark
