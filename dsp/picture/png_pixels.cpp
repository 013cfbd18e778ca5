#include "dsp/picture/png_pixels.hpp"

#include <cstddef>

#include <png.h>

namespace idlehark {

namespace {

/// libpng makes room for what a chunk says its length is: none may say more than the file has, cut short or not.
bool chunks_fit(std::span<const std::uint8_t> file) {
    constexpr std::size_t kStart = 8;
    constexpr std::size_t kBeforeData = 8;   // length, type
    constexpr std::size_t kAroundData = 12;  // and check sum
    for (std::size_t at = kStart; at + kBeforeData <= file.size();) {
        std::size_t length = 0;
        for (std::size_t i = 0; i < 4; ++i) length = length << 8u | file[at + i];
        if (length + kAroundData > file.size() - at) return false;
        at += length + kAroundData;
    }
    return true;
}

}  // namespace

bool png_pixels(std::span<const std::uint8_t> file, std::uint32_t width_px, std::uint32_t height_px,
                std::vector<std::uint8_t>& rgba) {
    if (!chunks_fit(file)) return false;
    png_image picture{};
    picture.version = PNG_IMAGE_VERSION;
    if (png_image_begin_read_from_memory(&picture, file.data(), file.size()) == 0) return false;
    picture.format = PNG_FORMAT_RGBA;
    if (picture.width != width_px || picture.height != height_px) {
        png_image_free(&picture);
        return false;
    }
    rgba.assign(std::size_t{4} * width_px * height_px, 0);
    return png_image_finish_read(&picture, nullptr, rgba.data(), 0, nullptr) != 0;  // frees the picture, too
}

}  // namespace idlehark
