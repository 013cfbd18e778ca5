#pragma once

#include "dsp/picture/picture_pixels.hpp"

#include <cstdint>
#include <span>
#include <string>

namespace idlehark {

/// What the head of a JPEG or PNG file says of its picture, without decoding it.
struct PictureHead {
    std::uint32_t width_px = 0;  ///< as stored
    std::uint32_t height_px = 0;
    int orientation = 1;  ///< 1..8, as exif_orientation() has it
    std::string fault;    ///< not empty: this is no such picture, or it breaks off
};

/// Source   ITU-T T.81 (JPEG) annex B, marker segments; ISO/IEC 15948 (PNG) 11.2.2.
[[nodiscard]] PictureHead read_head(std::span<const std::uint8_t> file);

/// A picture, upright, as small as was asked.
struct DecodedPicture {
    PicturePixels pixels{};
    std::string fault;  ///< not empty: why there is none, and what to do
};

/// Decodes a JPEG or PNG, turns it upright, and shrinks it to at most `longest_px` on its longer side.
/// Errors   `fault` for another format, a damaged file, more than kMostPixels (told by the head, before anything is
///          decoded, so a small file cannot claim gigabytes).
/// Threads  any; takes up to a second for a large photo: call it beside the window's loop.
[[nodiscard]] DecodedPicture decode_picture(std::span<const std::uint8_t> file, std::uint32_t longest_px);
inline constexpr std::uint64_t kMostPixels = 120'000'000;  ///< telephones make up to 108 million

}  // namespace idlehark
