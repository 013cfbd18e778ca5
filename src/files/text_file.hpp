#pragma once

#include "src/result.hpp"

#include <cstddef>
#include <string>
#include <string_view>

namespace idlehark {

/// The whole of a small text file without its byte order mark; refuses folders, missing files and anything over
/// `largest_bytes`.
Result<std::string> read_text(const std::string& path, std::size_t largest_bytes);

/// Writes the text to a neighbour file first and renames it once it is on the disk, so that an interrupted write, by a
/// power cut too, leaves the old file whole. What returned Done outlives a power cut. A link of that name is replaced,
/// not followed. Errors: the folder cannot be written, the disk is full; nothing is left behind.
Result<Done> write_text(const std::string& path, std::string_view text);

/// The same for a name that the user gave: through a link to the file it points to; straight to what is no file of a
/// disk, as a device or a pipe. Errors: also a folder.
Result<Done> write_where_asked(const std::string& path, std::string_view text);

/// Makes the names in the file's folder durable.
void sync_folder_of(const std::string& path);

/// Whether the name is taken, be it by a link to nowhere.
[[nodiscard]] bool is_there(const std::string& path);

/// Whether it is an ordinary file, and no link: in a folder from somebody else a name may stand for a pipe that nobody
/// ever writes to.
[[nodiscard]] bool is_plain_file(const std::string& path);

/// The path's last part: messages name files as the user knows them.
[[nodiscard]] std::string file_name(const std::string& path);

}  // namespace idlehark
