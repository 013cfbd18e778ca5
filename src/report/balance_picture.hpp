#pragma once

#include "src/analysis/balance_check.hpp"
#include "src/result.hpp"

#include <string>

namespace idlehark {

/// A strip of one working cycle with a bar per firing at its crank angle: strength with its 95 % interval, the share of
/// misfires and the verdict in words and as a shape under each.
/// Output   PNG 1600 pixels wide, or SVG, by the name's ending. Errors: another ending; a file that cannot be written.
Result<Done> draw_balance(const BalanceView& view, const std::string& path);

}  // namespace idlehark
