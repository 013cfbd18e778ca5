#pragma once

#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <string>
#include <vector>

namespace idlehark::gui {

/// The next step in one sentence. While a spray test runs it is the test's, whatever page is looked at: a prompt must
/// not hide behind a form.
[[nodiscard]] std::string next_step(const ViewState& view, Stage looking_at, const Words& say);

/// A spray test is under way: begun, and neither finished nor stopped.
[[nodiscard]] bool test_runs(const ViewState& view) noexcept;

/// Does this state tell the user to spray? Only ever behind an open gate.
[[nodiscard]] bool prompts_spray(const ViewState& view) noexcept;

/// The map's spots, then those that the visit shown has results of although they are on the map no more.
[[nodiscard]] std::vector<SpotView> spots_with_results(const ViewState& view, const Words& say);

/// What the spray test found, from the spots; or that nothing is decided yet.
[[nodiscard]] std::string verdict_sentence(const ViewState& view, const Words& say);
/// What the other tests found; empty if they were not made.
[[nodiscard]] std::string hiss_sentence(const ViewState& view, const Words& say);
[[nodiscard]] std::string injectors_sentence(const ViewState& view, const Words& say);
[[nodiscard]] std::string balance_sentence(const BalanceState& balance, const Words& say);
[[nodiscard]] std::string compare_sentence(const CompareState& compare, const Words& say);

/// A visit's day and title.
[[nodiscard]] std::string visit_name(const KeptVisit& visit);
/// How a burst of a guided test came about.
[[nodiscard]] std::string burst_words(const KeptBurst& burst, const Words& say);
[[nodiscard]] std::string unit_words(const std::string& unit, const Words& say);

[[nodiscard]] Word name_of(Stage stage) noexcept;
[[nodiscard]] Word question(GatePoint point) noexcept;
[[nodiscard]] Word word_of(SprayVerdict verdict) noexcept;
[[nodiscard]] Word word_of(InjectorVerdict verdict) noexcept;
[[nodiscard]] Word word_of(HissVerdict verdict) noexcept;
[[nodiscard]] Word word_of(CylinderVerdict verdict) noexcept;
[[nodiscard]] Word word_of(ChangeVerdict verdict) noexcept;

}  // namespace idlehark::gui
