#pragma once

#include "src/result.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// The folder of one case, which may come from a stranger: nothing outside it is read or written.
///   case.sqlite, audio/, pictures/; engine.json and map.json are copies to read by eye and for a rescue.
/// Names inside are bare: letters, digits, `.`, `-`, `_`; never a path. Symbolic links, pipes and devices inside are
/// refused, not followed.
class CaseFolder {
   public:
    /// `path` as the user gave it; links on the way to the folder are the user's own and followed.
    explicit CaseFolder(const std::string& path);

    [[nodiscard]] const std::string& path() const noexcept { return path_; }
    [[nodiscard]] std::string database() const { return path_ + "/case.sqlite"; }
    [[nodiscard]] bool writable() const;

    /// The path of an existing regular file `name` in `part` ("audio" or "pictures"; "": the folder itself).
    Result<std::string> existing(std::string_view part, const std::string& name) const;
    /// A path in a part for a name like `wish`: "bay.flac", else "bay-2.flac", ...: the first whose name up to the
    /// first dot no file there has, so that the files beside a recording find room too. Makes the part's folder if need
    /// be. `held`: names that are taken though no file has them, as those of the tables' rows whose files are gone.
    Result<std::string> fresh(std::string_view part, const std::string& wish,
                              const std::vector<std::string>& held = {}) const;
    /// The bare names of the regular files in a part, sorted.
    [[nodiscard]] std::vector<std::string> files(std::string_view part) const;

   private:
    Result<std::string> folder_of(std::string_view part) const;
    std::string path_;
};

/// A bare name that any file system takes: other characters become `-`, leading dots go, at most 80 bytes. Never empty.
[[nodiscard]] std::string safe_name(std::string_view text);
[[nodiscard]] bool is_safe_name(std::string_view name);

/// A new file with these bytes, or none: written beside the target, synced, then named. Refuses an existing target.
Result<Done> write_safely(const std::string& to, std::string_view bytes);
/// The same with the bytes of another file.
Result<Done> copy_file_safely(const std::string& from, const std::string& to);
/// Gives a finished file its name, without overwriting, and makes the name durable.
Result<Done> name_safely(const std::string& temporary, const std::string& to);

}  // namespace idlehark
