#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace idlehark {

/// A table in an SQLite file: where its tree of pages begins, and how many columns its rows have.
struct TableTree {
    std::string name;
    std::uint32_t root = 0;  ///< page, from 1
    std::size_t columns = 0;
    bool is_table = true;  ///< else an index, or a table without row ids: only walked, never mended
};

/// Mends tables whose tree is broken above its leaves, in the bytes of an SQLite file with pages of 4096: the leaves
/// that no sound tree holds and whose rows have as many columns as the table are put under a new root. Tables of
/// equally many columns that are both broken can't be told apart and stay as they are. Returns the names of the tables
/// mended. Source   the SQLite file format (sqlite.org/fileformat2.html) 1.5 and 1.6: b-tree pages and cells, freelist.
std::vector<std::string> mend_trees(std::string& bytes, const std::vector<TableTree>& trees);

}  // namespace idlehark
