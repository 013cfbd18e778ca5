#pragma once

#include "dsp/bay_map.hpp"
#include "src/casebook/case_folder.hpp"
#include "src/result.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// A JPEG or PNG without what cameras and programs write into it about place, time and device (JPEG: APP1 to APP15 but
/// the colour marks APP2 and APP14, and comments; PNG: text, time and Exif chunks), nor anything behind the picture's
/// end, but which way up it is. Nothing if it is neither, or breaks off.
/// Source   ISO/IEC 10918-1 B.1.1.4 (marker segments), B.1.1.5 (scans); PNG specification (W3C) 5.3, 11.3; from memory.
[[nodiscard]] std::optional<std::string> without_camera_data(std::string_view bytes);

/// The bytes of a picture file of at most 40 MB without that data.
Result<std::string> picture_to_keep(const std::string& path);

/// The same of the photo that a map lies on, empty if it lies on none. `beside`: the folder that a photo without a
/// whole path is sought in.
Result<std::string> map_photo(const BayMap& map, const std::string& beside);

/// Writes such bytes into pictures/ under a name like `wish`; returns the path there. `held`: as in
/// CaseFolder::fresh().
Result<std::string> store_picture(const CaseFolder& folder, const std::string& wish, std::string_view picture,
                                  const std::vector<std::string>& held = {});

}  // namespace idlehark
