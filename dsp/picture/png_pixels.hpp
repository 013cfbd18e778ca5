#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// Decodes a PNG into RGBA, 4 * width_px * height_px values, by libpng: photos come from strangers too.
/// False    it is damaged or breaks off, or its size is not the one given.
[[nodiscard]] bool png_pixels(std::span<const std::uint8_t> file, std::uint32_t width_px, std::uint32_t height_px,
                              std::vector<std::uint8_t>& rgba);

}  // namespace idlehark
