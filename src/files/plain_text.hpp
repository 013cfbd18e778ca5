#pragma once

#include <string>
#include <string_view>

namespace idlehark {

/// Local civil time, as in 2026-11-25T14:30:00.
[[nodiscard]] std::string now_text();

/// Without control characters (line ends and tabs stay); what is not UTF-8 becomes U+FFFD. For texts that come from
/// files of strangers, so that none of them can move a terminal's cursor.
[[nodiscard]] std::string printable(std::string_view text);

}  // namespace idlehark
