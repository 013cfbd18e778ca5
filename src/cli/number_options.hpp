#pragma once

#include <CLI/CLI.hpp>

namespace idlehark {

/// Every option of the commands that takes a number takes it in decimal notation, and a finite one only: CLI11 by
/// itself reads 010 as eight and lets NaN through any range.
void read_plain_numbers(CLI::App& app);

}  // namespace idlehark
