#pragma once

#include "src/casebook/casebook.hpp"
#include "src/visit/spray_visit.hpp"
#include "src/visit/visit_plan.hpp"

#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// The case that a guided test in the terminal is kept in: engine and map come from it, recording, confirmed cautions
/// and the test itself go there as they happen.
/// Errors   as Casebook; no map; nothing to go on with.
class GuideCase {
   public:
    /// `go_on`: with the guided test of the latest visit that has one; else a visit of today begins with the first
    /// thing to keep.
    static Result<GuideCase> open(const std::string& folder, bool go_on);

    [[nodiscard]] const Engine& engine() const noexcept { return engine_; }
    [[nodiscard]] const BayMap& map() const noexcept { return map_; }
    /// The test gone on with; a fresh one otherwise.
    [[nodiscard]] const VisitRecord& record() const noexcept { return record_; }
    /// Its readings so far, in its time.
    [[nodiscard]] const std::vector<RpmReading>& earlier() const noexcept { return earlier_; }
    /// Where in the visit's time the next recording begins.
    [[nodiscard]] double offset_s() const noexcept { return offset_s_; }
    /// What the user should know: which visit is gone on with, or could be.
    [[nodiscard]] const std::string& message() const noexcept { return message_; }

    /// Where the next recording goes.
    Result<std::string> begin_recording(int channel, const std::string& device);
    /// It could not begin: its note is taken back.
    void withdraw_recording();
    /// Keeps the test as it stands, where it differs from what is kept.
    Result<Done> keep(const VisitRecord& record);
    /// After the recording is closed: its facts, and its bursts as marks.
    Result<Done> finish(const VisitRecord& record);

    /// The results that a report shows, from what was recorded last; what cannot be measured is said and left out.
    void measure(const VisitPlanSettings& plan);
    /// For the end: where everything is, and how to go on if it is not `decided`.
    [[nodiscard]] std::string where_it_is(bool decided) const;

   private:
    explicit GuideCase(Casebook book) : book_(std::move(book)) {}
    Result<Done> go_on();
    Result<Done> close(RowId recording);
    Result<RowId> visit();

    Casebook book_;
    Engine engine_;
    BayMap map_;
    VisitRecord record_;
    std::vector<RpmReading> earlier_;
    double offset_s_ = 0.0;
    std::string message_;
    std::optional<RowId> visit_, recording_;
    std::size_t cautions_kept_ = 0;
    std::string kept_;  ///< the record as text
};

}  // namespace idlehark
