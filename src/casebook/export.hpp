#pragma once

#include "src/casebook/casebook.hpp"
#include "src/result.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace idlehark {

struct Exported {
    std::size_t recordings = 0, pictures = 0;
    std::vector<std::string> left_out;  ///< files that could not be taken along, and why
    std::vector<std::string> cautions;  ///< files that may still say where and on what they were recorded
};

/// Writes a copy of a case to give away into a new folder: a whole case again, with case.json (as `case show --format
/// json`) and a marks file (CSV) beside each recording, with a running one's marks of the file beside it. Left out:
/// names of devices and of the files that recordings came from, recorders' settings, what cameras write into pictures,
/// and anything in the folder that the case does not name. Sound files and pictures keep the names they have in the
/// case.
Result<Exported> export_case(const Casebook& book, const std::string& folder, bool with_audio);

}  // namespace idlehark
