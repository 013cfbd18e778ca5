#pragma once

#include "src/casebook/database.hpp"
#include "src/casebook/repair.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// Copies every row of `from` that can still be read and that the layout allows into `to`, an empty case of the present
/// layout, table by table. A damaged place costs the rows in it, not those after it: where a scan breaks off, the rows
/// beyond are asked for one by one. Columns that an older layout lacks take their defaults.
/// Rows whose parent row was lost keep their number and get a stand-in for it ("found by repair"); what was done is
/// told in `actions`. `engine_text` (JSON) is used where every engine was lost; it may be empty.
std::vector<RepairedPart> salvage_tables(Database& from, Database& to, const std::string& engine_text,
                                         std::vector<std::string>& actions);

}  // namespace idlehark
