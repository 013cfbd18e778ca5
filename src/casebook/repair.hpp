#pragma once

#include "src/casebook/casebook.hpp"
#include "src/result.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace idlehark {

/// What became of one table.
struct RepairedPart {
    std::string name;
    std::size_t kept = 0;
    std::size_t lost = 0;  ///< rows known to have been there; a recording taken back too; see `unsure`
    bool unsure = false;   ///< the part's end could not be read: more may have been lost
};

struct RepairReport {
    bool rebuilt = false;      ///< the tables were damaged and written anew
    std::string kept_damaged;  ///< the damaged file's new name; empty if nothing was rebuilt
    std::vector<RepairedPart> parts;
    std::vector<std::string> actions;  ///< recordings closed or taken back, files taken in, rows given a new parent
    std::vector<std::string> faults;   ///< what stays lost
};

/// Brings a case back: reads every table row by row, also past damaged places, and writes what can be read into a new
/// case.sqlite (the damaged one is kept beside it); then closes recordings that were cut off, takes back the notes of
/// those that never began, and takes in sound files that no row names. A row whose visit or engine was lost gets a
/// stand-in, so that it is not lost too. A sound case's tables are left as they are. Close other programs that have
/// this case open first.
Result<RepairReport> repair_case(const std::string& folder);

/// Closes recordings of an open case that were cut off, and takes back the notes of those that never began; what it did
/// goes into the report. Those that still grow, or begin just now, are another program's, and left alone: so many.
std::size_t close_recordings(Casebook& book, RepairReport& report);

[[nodiscard]] std::string repair_table(const RepairReport& report);

}  // namespace idlehark
