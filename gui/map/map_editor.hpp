#pragma once

#include "dsp/bay_map.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark::gui {

/// Without the blanks at its ends.
[[nodiscard]] std::string_view trimmed(std::string_view s) noexcept;

/// The map while it is edited; every change can be taken back, and forth again.
/// Spots are named by their id. What a change refuses is said by the text that it returns (empty: done), and the map is
/// then as it was.
class MapEditor {
   public:
    static constexpr std::size_t kMostSpots = 200;
    static constexpr std::size_t kLongestId = 8;     ///< characters
    static constexpr std::size_t kLongestName = 80;  ///< bytes
    static constexpr double kFarthest_mm = 10000.0;

    MapEditor() = default;
    MapEditor(BayMap map, int cylinders) : map_(std::move(map)), cylinders_(cylinders), saved_(map_) {}

    /// Of the engine, which may be described anew while its map is edited.
    void set_cylinders(int cylinders) noexcept { cylinders_ = cylinders; }
    [[nodiscard]] const BayMap& map() const noexcept { return map_; }
    [[nodiscard]] bool changed() const noexcept { return map_ != saved_; }
    /// The map as it stands counts as saved.
    void saved() { saved_ = map_; }

    /// A new spot with the lowest free number; its id goes to `id`.
    std::string place(double x_mm, double y_mm, SpotKind kind, std::string& id);
    std::string renumber(std::string_view spot, std::string_view id);
    std::string rename(std::string_view spot, std::string_view name);
    std::string set_kind(std::string_view spot, SpotKind kind);
    std::string set_cylinder(std::string_view spot, std::optional<int> cylinder);
    std::string remove(std::string_view spot);
    /// Another picture, or none; spots stay.
    std::string set_picture(std::string_view file, double width_mm);
    std::string replace_spots(std::vector<MapSpot> spots);

    /// A drag is one change, however many moves it has.
    void begin_drag(std::string_view spot);
    void drag_to(double x_mm, double y_mm);
    void end_drag();
    [[nodiscard]] bool dragging() const noexcept { return drag_.has_value(); }

    [[nodiscard]] bool can_undo() const noexcept { return !past_.empty(); }
    [[nodiscard]] bool can_redo() const noexcept { return !future_.empty(); }
    void undo();
    void redo();

   private:
    struct Drag {
        std::size_t spot;
        BayMap before;
    };

    [[nodiscard]] MapSpot* find(std::string_view spot) noexcept;
    void keep(BayMap before);
    template <class Change>
    std::string change(std::string_view spot, Change apply);

    BayMap map_;
    int cylinders_ = 12;
    std::vector<BayMap> past_;
    std::vector<BayMap> future_;
    BayMap saved_;
    std::optional<Drag> drag_;
};

}  // namespace idlehark::gui
