#pragma once

#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <string>

namespace idlehark::gui {

/// The next step in one sentence. While a spray test runs it is the test's, whatever page is looked at: a prompt must
/// not hide behind a form.
[[nodiscard]] std::string next_step(const ViewState& view, Stage looking_at, const Words& say);

/// Does this state tell the user to spray? Only ever behind an open gate.
[[nodiscard]] bool prompts_spray(const ViewState& view) noexcept;

[[nodiscard]] Word name_of(Stage stage) noexcept;
[[nodiscard]] Word question(GatePoint point) noexcept;
[[nodiscard]] Word word_of(SprayVerdict verdict) noexcept;

}  // namespace idlehark::gui
