#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// A picture in memory, `rgba` row by row, 4 * width_px * height_px values.
struct PicturePixels {
    std::uint32_t width_px = 0;
    std::uint32_t height_px = 0;
    std::vector<std::uint8_t> rgba{};
};

/// How a picture is to be turned upright, 1..8, by the first directory of an APP1 segment's content; 1 if it does not
/// say.
/// Source   CIPA DC-008 (Exif) 4.6.4, orientation, tag 0x0112.
[[nodiscard]] int exif_orientation(std::span<const std::uint8_t> app1);

/// Turns a picture as an Exif orientation asks; width and height are exchanged where it is one of 5..8.
void turn_upright(PicturePixels& picture, int orientation);

/// Makes the longer side at most `longest_px`: each pixel the mean of a square of the larger picture.
void shrink(PicturePixels& picture, std::uint32_t longest_px);

}  // namespace idlehark
