#include "tests/src/pictures.hpp"

#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <stdexcept>
#include <vector>

#include <jpeglib.h>
#include <png.h>

namespace idlehark::test {

namespace {

using Pixel = std::array<std::uint8_t, 4>;

std::vector<std::uint8_t> pixels(unsigned width, unsigned height, Pixel first) {
    constexpr Pixel kGreen{0, 255, 0, 255}, kBlue{0, 0, 255, 255}, kWhite{255, 255, 255, 255};
    std::vector<std::uint8_t> rgba;
    for (unsigned y = 0; y < height; ++y)
        for (unsigned x = 0; x < width; ++x) {
            const bool right = x >= width / 2, below = y >= height / 2;
            const auto& p = below ? (right ? kWhite : kBlue) : (right ? kGreen : first);
            rgba.insert(rgba.end(), p.begin(), p.end());
        }
    return rgba;
}

std::string number(unsigned value, int bytes, bool little) {
    std::string text;
    for (int i = 0; i < bytes; ++i) text += static_cast<char>(value >> (8 * (little ? i : bytes - 1 - i)) & 0xffU);
    return text;
}

}  // namespace

std::string jpeg_picture(unsigned width_px, unsigned height_px) {
    auto rgba = pixels(width_px, height_px, {255, 0, 0, 255});
    jpeg_error_mgr errors{};
    jpeg_compress_struct picture{};
    picture.err = jpeg_std_error(&errors);
    jpeg_create_compress(&picture);
    unsigned char* written = nullptr;
    unsigned long length = 0;
    jpeg_mem_dest(&picture, &written, &length);
    picture.image_width = width_px;
    picture.image_height = height_px;
    picture.input_components = 4;
    picture.in_color_space = JCS_EXT_RGBA;
    jpeg_set_defaults(&picture);
    jpeg_start_compress(&picture, TRUE);
    while (picture.next_scanline < height_px) {
        JSAMPROW row = rgba.data() + std::size_t{4} * width_px * picture.next_scanline;
        jpeg_write_scanlines(&picture, &row, 1);
    }
    jpeg_finish_compress(&picture);
    jpeg_destroy_compress(&picture);
    std::string bytes{reinterpret_cast<const char*>(written), length};
    std::free(written);
    return bytes;
}

std::string png_picture(unsigned width_px, unsigned height_px) {
    const auto rgba = pixels(width_px, height_px, {255, 0, 0, 0});
    png_image picture{};
    picture.version = PNG_IMAGE_VERSION;
    picture.width = width_px;
    picture.height = height_px;
    picture.format = PNG_FORMAT_RGBA;
    png_alloc_size_t length = 0;
    if (!png_image_write_get_memory_size(picture, length, 0, rgba.data(), 0, nullptr))
        throw std::runtime_error("no picture written");
    std::string bytes(length, '\0');
    if (!png_image_write_to_memory(&picture, bytes.data(), &length, 0, rgba.data(), 0, nullptr))
        throw std::runtime_error("no picture written");
    bytes.resize(length);
    return bytes;
}

std::string camera_segment(int orientation, bool little_endian) {
    const auto two = [&](unsigned v) { return number(v, 2, little_endian); };
    const auto four = [&](unsigned v) { return number(v, 4, little_endian); };
    const auto held = static_cast<unsigned>(orientation);
    const auto tiff = (little_endian ? "II" : "MM") + two(42) + four(8) + two(3) +         //
                      two(0x010f) + two(2) + four(4) + "Anna" +                            // made by
                      two(0x0112) + two(3) + four(1) + two(held) + two(0) +                // how it was held
                      two(0x8825) + two(4) + four(1) + four(0) + four(0) + "51 28 north";  // the place
    const auto content = std::string{"Exif\0\0", 6} + tiff;
    return "\xff\xe1" + number(static_cast<unsigned>(content.size()) + 2, 2, false) + content;
}

std::string orientation_segment(int orientation) {
    return std::string{
               "\xff\xe1\x00\x22"
               "Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0",
               29} +
           static_cast<char>(orientation) + std::string(6, '\0');
}

std::string with_segment(std::string jpeg, const std::string& segment) { return jpeg.insert(2, segment); }

std::string quarters(const std::string& jpeg) {
    jpeg_error_mgr errors{};
    jpeg_decompress_struct picture{};
    picture.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&picture);
    jpeg_mem_src(&picture, reinterpret_cast<const unsigned char*>(jpeg.data()), jpeg.size());
    jpeg_read_header(&picture, TRUE);
    picture.out_color_space = JCS_EXT_RGBA;
    jpeg_start_decompress(&picture);
    const std::size_t width = picture.output_width, height = picture.output_height;
    std::vector<std::uint8_t> rgba(4 * width * height);
    while (picture.output_scanline < height) {
        JSAMPROW row = rgba.data() + 4 * width * picture.output_scanline;
        jpeg_read_scanlines(&picture, &row, 1);
    }
    jpeg_finish_decompress(&picture);
    jpeg_destroy_decompress(&picture);
    std::string text;
    for (const std::size_t y : {height / 4, 3 * height / 4})
        for (const std::size_t x : {width / 4, 3 * width / 4}) {
            const auto* const c = rgba.data() + 4 * (y * width + x);
            const bool r = c[0] > 128, g = c[1] > 128, b = c[2] > 128;
            text += r && g && b ? 'W' : r && !g ? 'R' : g && !r ? 'G' : b ? 'B' : '?';
        }
    return text;
}

}  // namespace idlehark::test
