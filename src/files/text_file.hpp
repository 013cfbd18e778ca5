#pragma once

#include "src/result.hpp"

#include <cstddef>
#include <string>
#include <string_view>

namespace idlehark {

/// The whole of a small text file without its byte order mark; refuses folders, missing files and anything over
/// `largest_bytes`.
Result<std::string> read_text(const std::string& path, std::size_t largest_bytes);

/// Writes the text to a neighbour file first and renames it, so that an interrupted write leaves the old file whole.
Result<Done> write_text(const std::string& path, std::string_view text);

/// The path's last part: messages name files as the user knows them.
[[nodiscard]] std::string file_name(const std::string& path);

}  // namespace idlehark
