#pragma once

#include "src/result.hpp"

#include <cstdint>
#include <string>
#include <string_view>

namespace idlehark {

/// A picture made ready to stand in a page: upright, kLongest_px at most, with nothing the camera wrote about itself.
struct Photo {
    static constexpr std::uint32_t kLongest_px = 1600;  ///< 220 dots an inch across a sheet
    std::string jpeg;
    std::uint32_t width_px = 0;
    std::uint32_t height_px = 0;

    /// What an HTML page has in place of a file's name.
    [[nodiscard]] std::string data_url() const;
};

/// Output   of the bytes of a JPEG or PNG; what is transparent becomes white.
/// Errors   another kind of file, a damaged one, more than 120 million pixels.
[[nodiscard]] Result<Photo> page_photo(std::string_view bytes);

}  // namespace idlehark
