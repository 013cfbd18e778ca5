#include "gui/map/png_pixels.hpp"

#include "dsp/picture_pixels.hpp"

#include <cstddef>

#include <png.h>

namespace idlehark::gui {

bool png_pixels(std::span<const std::uint8_t> file, std::uint32_t width_px, std::uint32_t height_px,
                std::vector<std::uint8_t>& rgba) {
    if (!png_chunks_fit(file)) return false;
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

}  // namespace idlehark::gui
