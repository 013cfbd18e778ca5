#include "src/report/photo.hpp"

#include "dsp/picture/picture_file.hpp"

#include <csetjmp>
#include <cstddef>
#include <cstdio>
#include <cstdlib>

#include <jpeglib.h>

namespace idlehark {

namespace {

constexpr int kQuality = 82;

struct Errors {
    jpeg_error_mgr base;  // first: libjpeg hands out a pointer to it
    std::jmp_buf way_out;
};

[[noreturn]] void leave(j_common_ptr picture) { std::longjmp(reinterpret_cast<Errors*>(picture->err)->way_out, 1); }

/// What is transparent becomes white, as on paper.
void lay_on_white(PicturePixels& p) {
    for (std::size_t i = 0; i < p.rgba.size(); i += 4)
        for (std::size_t c = i; c < i + 3; ++c) {
            const unsigned alpha = p.rgba[i + 3];
            p.rgba[c] = static_cast<std::uint8_t>((p.rgba[c] * alpha + 255U * (255U - alpha)) / 255U);
        }
}

bool write_jpeg(const PicturePixels& pixels, std::string& out) {
    unsigned char* written = nullptr;
    unsigned long length = 0;
    Errors errors{};
    jpeg_compress_struct picture{};
    picture.err = jpeg_std_error(&errors.base);
    errors.base.error_exit = leave;
    errors.base.output_message = [](j_common_ptr) {};
    // Nothing below may have a destructor: an error jumps back to here.
    if (setjmp(errors.way_out) != 0) {
        jpeg_destroy_compress(&picture);
        return false;
    }
    jpeg_create_compress(&picture);
    jpeg_mem_dest(&picture, &written, &length);
    picture.image_width = pixels.width_px;
    picture.image_height = pixels.height_px;
    picture.input_components = 4;
    picture.in_color_space = JCS_EXT_RGBA;
    jpeg_set_defaults(&picture);
    jpeg_set_quality(&picture, kQuality, TRUE);
    jpeg_start_compress(&picture, TRUE);
    while (picture.next_scanline < picture.image_height) {
        // libjpeg reads only, and asks for a pointer that could be written through.
        JSAMPROW row =
            const_cast<unsigned char*>(pixels.rgba.data()) +  // NOLINT(cppcoreguidelines-pro-type-const-cast)
            std::size_t{4} * pixels.width_px * picture.next_scanline;
        jpeg_write_scanlines(&picture, &row, 1);
    }
    jpeg_finish_compress(&picture);
    jpeg_destroy_compress(&picture);
    out.assign(reinterpret_cast<const char*>(written), length);
    std::free(written);  // as libjpeg made it. NOLINT(cppcoreguidelines-no-malloc)
    return true;
}

}  // namespace

std::string Photo::data_url() const {
    constexpr std::string_view kDigits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string url = "data:image/jpeg;base64,";
    url.reserve(url.size() + (jpeg.size() + 2) / 3 * 4);
    for (std::size_t i = 0; i < jpeg.size(); i += 3) {
        std::uint32_t three = 0;
        for (std::size_t k = i; k < i + 3; ++k)
            three = three << 8U | (k < jpeg.size() ? static_cast<unsigned char>(jpeg[k]) : 0U);
        for (std::size_t k = 0; k < 4; ++k)
            url += i + k <= jpeg.size() ? kDigits[three >> (18U - 6U * k) & 0x3fU] : '=';
    }
    return url;
}

Result<Photo> page_photo(std::string_view bytes) {
    auto decoded =
        decode_picture({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()}, Photo::kLongest_px);
    auto& pixels = decoded.pixels;
    lay_on_white(pixels);
    Photo photo;
    if (!decoded.fault.empty() || !write_jpeg(pixels, photo.jpeg))
        return Error{"the picture cannot be decoded: it is damaged, larger than 120 million pixels, or of a rare kind",
                     "Save it as JPEG again."};
    photo.width_px = pixels.width_px;
    photo.height_px = pixels.height_px;
    return photo;
}

}  // namespace idlehark
