#pragma once

#include <string>

namespace idlehark {

/// Local civil time now, written as strftime's `format` says; at most 63 characters.
[[nodiscard]] std::string local_time(const char* format);

/// As in 2026-11-25T14:30:00.
[[nodiscard]] inline std::string now_text() { return local_time("%Y-%m-%dT%H:%M:%S"); }
/// The same with the offset from UTC, as in 2026-11-25T14:30:00+0100.
[[nodiscard]] inline std::string now_text_with_zone() { return local_time("%Y-%m-%dT%H:%M:%S%z"); }

}  // namespace idlehark
