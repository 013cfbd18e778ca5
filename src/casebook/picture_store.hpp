#pragma once

#include "src/casebook/case_folder.hpp"
#include "src/result.hpp"

#include <optional>
#include <string>
#include <string_view>

namespace idlehark {

/// A JPEG or PNG without what cameras and programs write into it about place, time and device (JPEG: APP1 to APP15 but
/// the colour marks APP2 and APP14, and comments; PNG: text, time and Exif chunks). Nothing if it is neither.
/// Source   ISO/IEC 10918-1 B.1.1.4 (marker segments); PNG specification (W3C) 5.3, 11.3; from memory.
[[nodiscard]] std::optional<std::string> without_camera_data(std::string_view bytes);

/// Copies a picture of at most 40 MB into pictures/ without that data; returns the path there.
Result<std::string> store_picture(const CaseFolder& folder, const std::string& path);

}  // namespace idlehark
