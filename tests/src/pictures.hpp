#pragma once

#include <string>

namespace idlehark::test {

/// Pictures whose quarters are red, green, blue, white (left to right, top to bottom), as files. In the PNG the red one
/// is transparent.
[[nodiscard]] std::string jpeg_picture(unsigned width_px, unsigned height_px);
[[nodiscard]] std::string png_picture(unsigned width_px, unsigned height_px);

/// What a camera writes behind the start of a JPEG: its maker ("Anna"), how it was held, a reference to a place.
[[nodiscard]] std::string camera_segment(int orientation, bool little_endian);
/// The same that says how it was held, and nothing else.
[[nodiscard]] std::string orientation_segment(int orientation);
[[nodiscard]] std::string with_segment(std::string jpeg, const std::string& segment);

/// The colours of a JPEG's quarters, as "RGBW".
[[nodiscard]] std::string quarters(const std::string& jpeg);

}  // namespace idlehark::test
