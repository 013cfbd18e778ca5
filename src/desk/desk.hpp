#pragma once

#include "gui/commands.hpp"
#include "gui/view_state.hpp"
#include "src/desk/prompter.hpp"

#include <cstdint>
#include <memory>
#include <string>

namespace idlehark {

struct DeskOptions {
    std::string cases_folder;  ///< where a new case's folder is made
    int practice_spots = 8;
    bool practice_disturbed = false;
    std::string microphone{};  ///< a recording that is played in the microphone's place; empty: the device
    double microphone_pace = 1.0;
    OpenOutput prompt_output{};  ///< what prompts come out of; empty: the system's default output
};

/// What works behind the window: owns the sound, the visit and the case; told commands, shows a view state.
/// Threads  its own, and one for long work. `view()` and `send()` return at once and may be called from any.
class Desk {
   public:
    explicit Desk(const DeskOptions& options);
    ~Desk();
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;

    [[nodiscard]] std::shared_ptr<const gui::ViewState> view() const;
    void send(gui::Command command);

   private:
    class Worker;
    std::unique_ptr<Worker> worker_;
};

}  // namespace idlehark
