#pragma once

#include "src/result.hpp"

#include <string>
#include <vector>

namespace idlehark {

/// One burst of spray: when it began in the recording, and at which spot.
struct Mark {
    double time_s = 0.0;
    std::string spot;
    std::vector<std::string> extra;  ///< the other columns' fields, in the file's order
    int line = 0;                    ///< in the file, from 1; for messages
};

struct MarksFile {
    std::vector<Mark> marks;                 ///< in time order
    std::vector<std::string> extra_columns;  ///< names of the columns besides time_s and spot
};

/// Reads marks (CSV): a header with time_s and spot, in any place among any other columns; one row a burst. Quotes,
/// CRLF and a byte order mark are understood; numbers have a decimal point whatever the locale. Errors name the line.
Result<MarksFile> read_marks(const std::string& path);

Result<Done> write_marks(const std::string& path, const MarksFile& file);

}  // namespace idlehark
