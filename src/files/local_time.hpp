#pragma once

#include <string>

namespace idlehark {

/// Local civil time now, or so many seconds ago, written as strftime's `format` says; at most 63 characters.
[[nodiscard]] std::string local_time(const char* format, int seconds_ago = 0);

/// As in 2026-11-25T14:30:00.
[[nodiscard]] inline std::string now_text(int seconds_ago = 0) { return local_time("%Y-%m-%dT%H:%M:%S", seconds_ago); }
/// The same with the offset from UTC, as in 2026-11-25T14:30:00+0100.
[[nodiscard]] inline std::string now_text_with_zone() { return local_time("%Y-%m-%dT%H:%M:%S%z"); }

}  // namespace idlehark
