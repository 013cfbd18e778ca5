#pragma once

#include "src/casebook/database.hpp"

#include <cstdint>
#include <string>
#include <vector>

namespace idlehark::schema {

/// The layout of case.sqlite that this program writes, kept in `user_version`.
inline constexpr int kVersion = 2;
/// A newer program's. Layouts go up one by one: what lies far beyond is a spoilt number.
[[nodiscard]] constexpr bool newer(std::int64_t layout) noexcept {
    return layout > kVersion && layout <= kVersion + 1000;
}
/// Marks the file as a case of this program (`application_id`): "IdHk".
inline constexpr int kApplication = 0x4964'486b;

/// Makes the tables in an empty file, inside the caller's transaction.
void create(Database& database);

/// Readers and a writer at once, and commits that a crash cannot undo (write-ahead log).
void start_journal(Database& database);

/// The version of an existing file. Faults: not a case of this program; the number is spoilt.
[[nodiscard]] int version(Database& database);

/// Brings an older layout up to kVersion in one transaction. `from` is at least 1.
void migrate(Database& database, int from);

/// Refuses what this program did not make: a table or index that is missing, or any that is not word for word its own
/// in the layout `version`; so no trigger, view, computed column or rule of a stranger's is ever run.
void verify(Database& database, int version = kVersion);

/// Every table, parents before children.
[[nodiscard]] const std::vector<std::string>& tables();

}  // namespace idlehark::schema
