#pragma once

#include "gui/view_state.hpp"
#include "src/casebook/casebook.hpp"
#include "src/visit/spray_visit.hpp"

#include <array>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// The case and the visit that the desk works on: what is confirmed, recorded and found goes there at once.
/// Threads  one owner. Errors as Casebook.
class DeskCase {
   public:
    /// A new case in a folder that does not exist yet. `visit_title`: of the first visit.
    static Result<DeskCase> create(const std::string& folder, const std::string& name, const Engine& engine,
                                   const std::string& visit_title);
    /// A case that is there. Looking at it adds nothing.
    static Result<DeskCase> open(const std::string& folder);

    [[nodiscard]] Casebook& book() noexcept { return book_; }
    /// The visit of today, added when something is to be kept in it.
    Result<RowId> visit();
    /// Nothing if nothing was kept today.
    [[nodiscard]] std::optional<RowId> visit_so_far() const noexcept { return visit_; }
    /// What is kept from now on belongs to another visit: what was confirmed before does not count for it.
    void next_visit();
    /// The points of caution are asked again, and their answers kept again.
    void ask_again() noexcept { gate_ = {}; }

    /// The elimination log as the case has it, the latest line of each name; `usual` lines not entered yet stand behind
    /// where the case was begun from them.
    Result<std::vector<gui::LogLine>> log(const std::vector<gui::LogLine>& usual);

    /// Kept only where they differ from what the case has.
    Result<Done> keep_engine(const Engine& engine);
    /// Its photo, too: `beside` as in Casebook::set_map(). A photo that cannot be kept is told once, the spots are
    /// kept.
    Result<Done> keep_map(const BayMap& map, const std::string& beside);
    Result<Done> keep_log(const std::vector<gui::LogLine>& lines);
    Result<Done> keep_gate(const gui::GateView& gate);
    Result<Done> keep_guided(const VisitRecord& record);
    /// After the recording is finished: its marks become those of the visit's bursts that count.
    Result<Done> settle_marks(RowId recording, const VisitRecord& record);

   private:
    explicit DeskCase(Casebook book) : book_(std::move(book)) {}
    Casebook book_;
    std::optional<RowId> visit_;
    std::string title_;  ///< of the visit to come
    std::optional<Engine> engine_;
    std::optional<BayMap> map_;
    std::vector<gui::LogLine> log_;
    std::array<std::optional<bool>, gui::kGatePoints> gate_;
    std::string guided_;  ///< the record as it is kept, but for its clock
};

}  // namespace idlehark
