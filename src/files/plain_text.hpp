#pragma once

#include <string>
#include <string_view>

namespace idlehark {

/// Without control characters (line ends and tabs stay); what is not UTF-8 becomes U+FFFD. For texts that come from
/// files of strangers, so that none of them can move a terminal's cursor.
[[nodiscard]] std::string printable(std::string_view text);

/// Without the blanks and tabs at both ends.
[[nodiscard]] std::string trimmed(std::string_view text);

}  // namespace idlehark
