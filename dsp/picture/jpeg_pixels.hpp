#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// Decodes a JPEG into RGBA, 4 * width_px * height_px values, by libjpeg: photos come from strangers too.
/// False    it is damaged or breaks off, its size is not the one given, or its kind is rare (CMYK, hundreds of scans).
[[nodiscard]] bool jpeg_pixels(std::span<const std::uint8_t> file, std::uint32_t width_px, std::uint32_t height_px,
                               std::vector<std::uint8_t>& rgba);

}  // namespace idlehark
