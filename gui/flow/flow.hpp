#pragma once

#include "gui/commands.hpp"
#include "gui/flow/file_chooser.hpp"
#include "gui/flow/plot_places.hpp"
#include "gui/map/map_editor.hpp"
#include "gui/shell/layout.hpp"
#include "gui/shell/theme.hpp"
#include "gui/view_state.hpp"
#include "gui/words.hpp"

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace idlehark::gui {

/// Where a page leads on to; shown at its lower end whatever is scrolled.
struct WayOn {
    std::optional<Stage> to;
    bool enabled = true;
};

/// What every page is given.
struct PageContext {
    const ViewState& view;
    const Words& say;
    const Type& type;
    float scale;
    std::function<void(Command)> send;
    std::function<void(Stage)> go;
    PlotPlaces* plots = nullptr;  ///< while a page is laid out
    WayOn* way_on = nullptr;
};

/// The pages of the way through, as forms of Dear ImGui. Holds only what is being typed; all else is in the view state.
class Flow {
   public:
    /// Draws the page into `place`; between ImGui's NewFrame and Render.
    void draw(const PageContext& c, Stage stage, const Rect& place);
    /// What lies above every page: running work, faults, file choosers.
    void draw_above(const PageContext& c, Size window);
    /// A key that belongs to the spray test (space, presenter keys, R K W U P).
    enum class Pedal { spray, repeat, skip, wrong, undo, pause };
    void pedal(const PageContext& c, Pedal which);
    /// A click on a spot of the map while spots are sprayed: in practice the simulated can goes there.
    void spot_pressed(const PageContext& c, const std::string& spot);
    /// Something is being fetched that shall be shown: draw again soon.
    [[nodiscard]] bool waiting() const noexcept { return chooser_.waiting(); }
    [[nodiscard]] const std::string& selected_spot() const noexcept { return selected_spot_; }
    [[nodiscard]] bool balance_shown() const noexcept { return balance_shown_; }
    void select_spot(const std::string& spot) { selected_spot_ = spot; }

    // The map while it is edited.
    [[nodiscard]] static bool map_editable(const PageContext& c, Stage stage);
    /// The map as edited on its page, elsewhere as it stands.
    [[nodiscard]] const BayMap& map_shown(const PageContext& c, Stage stage);
    [[nodiscard]] MapEditor& editor() noexcept { return editor_; }
    void place_spot(const PageContext& c, double x_mm, double y_mm);
    void send_map(const PageContext& c) const { c.send(ask::SetMap{editor_.map()}); }
    /// Ctrl Z and Ctrl Y on the map's page.
    void undo(const PageContext& c, bool redo);

   private:
    void page(const PageContext& c, Stage stage);
    void describe(const PageContext& c);
    void choose_practice(const PageContext& c);
    void known_cases(const PageContext& c);
    void log(const PageContext& c);
    void map(const PageContext& c);
    void take_number(const PageContext& c);
    void gate(const PageContext& c);
    void settle(const PageContext& c);
    void listen_first(const PageContext& c);
    void spray(const PageContext& c);
    void verdict_table(const PageContext& c, float height, bool lines_spray);
    void injectors_or_balance(const PageContext& c);
    void injectors(const PageContext& c);
    void balance(const PageContext& c);
    void compare(const PageContext& c);
    void report(const PageContext& c);

    // describe
    std::optional<Engine> engine_;  ///< being typed
    std::string order_text_;
    std::string form_fault_;
    std::uint64_t engine_edition_ = 0;
    std::uint64_t practice_number_ = 1;
    int practice_pace_ = 1;
    int practice_engine_ = 1;  ///< 0: a bay drawn from its number alone
    std::string device_;       ///< empty: the one used last
    // log, map
    std::optional<std::vector<LogLine>> log_;
    std::string selected_spot_;
    struct TypedNumber {
        std::string spot, number;
    } typed_number_;            ///< a spot's new number, until its field is left
    bool number_held_ = false;  ///< its field was drawn, and is still typed in
    MapEditor editor_;
    std::uint64_t map_edition_ = ~std::uint64_t{0};
    std::string map_refusal_;
    // gate
    bool points_shown_ = false;
    // spray
    bool choosing_wrong_spot_ = false;
    // injectors, balance
    bool balance_shown_ = false;
    int pick_up_cylinder_ = 0;  ///< 0: none
    // compare: visits of the case
    std::int64_t before_ = 0, after_ = 0;

    FileChooser chooser_;
    std::function<void(const std::string&)> chosen_;
    WayOn way_on_;                 ///< of the page last drawn
    Stage shown_ = Stage::report;  ///< the last page drawn: a new one starts at its top
};

}  // namespace idlehark::gui
