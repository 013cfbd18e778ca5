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
    /// A new case in a folder that does not exist yet, with a visit of today.
    static Result<DeskCase> create(const std::string& folder, const std::string& name, const Engine& engine,
                                   const BayMap& map, const std::string& visit_title);
    /// A visit of today in a case that is there.
    static Result<DeskCase> open(const std::string& folder);

    [[nodiscard]] Casebook& book() noexcept { return book_; }
    [[nodiscard]] RowId visit() const noexcept { return visit_; }
    /// Another day or another start: what was confirmed before does not count for it.
    Result<Done> new_visit(const std::string& title);

    /// Kept only where they differ from what the case has.
    Result<Done> keep_engine(const Engine& engine);
    Result<Done> keep_map(const BayMap& map);
    Result<Done> keep_log(const std::vector<gui::LogLine>& lines);
    Result<Done> keep_gate(const gui::GateView& gate);
    Result<Done> keep_guided(const VisitRecord& record);
    /// After the recording is finished: its marks become those of the visit's bursts that count.
    Result<Done> settle_marks(RowId recording, const VisitRecord& record);

   private:
    explicit DeskCase(Casebook book) : book_(std::move(book)) {}
    Casebook book_;
    RowId visit_ = 0;
    std::optional<Engine> engine_;
    std::optional<BayMap> map_;
    std::vector<gui::LogLine> log_;
    std::array<std::optional<bool>, gui::kGatePoints> gate_;
    std::vector<std::size_t> guided_;  ///< how much of the record is kept
};

}  // namespace idlehark
