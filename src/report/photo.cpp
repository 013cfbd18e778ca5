#include "src/report/photo.hpp"

#include "dsp/picture_pixels.hpp"

#include <algorithm>
#include <csetjmp>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <span>

#include <cairo.h>
#include <jpeglib.h>

namespace idlehark {

namespace {

constexpr std::uint64_t kMostPixels = 120'000'000;
constexpr int kQuality = 82;
constexpr int kMostScans = 200;  // of a progressive JPEG; more only take time
constexpr std::string_view kPng = "\x89PNG\r\n\x1a\n";

struct Errors {
    jpeg_error_mgr base;  // first: libjpeg hands out a pointer to it
    std::jmp_buf way_out;
};

[[noreturn]] void leave(j_common_ptr picture) { std::longjmp(reinterpret_cast<Errors*>(picture->err)->way_out, 1); }

void keep_quiet(Errors& errors) {
    errors.base.error_exit = leave;
    errors.base.emit_message = [](j_common_ptr, int) {};
    errors.base.output_message = [](j_common_ptr) {};
}

void count_scans(j_common_ptr picture) {
    if (reinterpret_cast<j_decompress_ptr>(picture)->input_scan_number > kMostScans) leave(picture);
}

int orientation_of(const jpeg_decompress_struct& picture) {
    int orientation = 1;
    for (const auto* m = picture.marker_list; m != nullptr; m = m->next)
        orientation = std::max(orientation, exif_orientation({m->data, m->data_length}));
    return orientation;
}

/// Decoded to no more than twice the size that is wanted, which libjpeg does in a fraction of the time; upright.
bool read_jpeg(std::string_view bytes, PicturePixels& out) {
    Errors errors{};
    jpeg_decompress_struct picture{};
    jpeg_progress_mgr progress{};
    picture.err = jpeg_std_error(&errors.base);
    keep_quiet(errors);
    progress.progress_monitor = count_scans;
    // Nothing below may have a destructor: an error jumps back to here.
    if (setjmp(errors.way_out) != 0) {
        jpeg_destroy_decompress(&picture);
        return false;
    }
    jpeg_create_decompress(&picture);
    picture.progress = &progress;
    jpeg_save_markers(&picture, JPEG_APP0 + 1, 0xffff);
    jpeg_mem_src(&picture, reinterpret_cast<const unsigned char*>(bytes.data()),
                 static_cast<unsigned long>(bytes.size()));
    jpeg_read_header(&picture, TRUE);
    if (std::uint64_t{picture.image_width} * picture.image_height > kMostPixels)
        leave(reinterpret_cast<j_common_ptr>(&picture));
    picture.out_color_space = JCS_EXT_RGBA;
    picture.scale_denom = 1;
    while (picture.scale_denom < 8 &&
           std::max(picture.image_width, picture.image_height) / (2 * picture.scale_denom) >= Photo::kLongest_px)
        picture.scale_denom *= 2;
    jpeg_start_decompress(&picture);
    out.width_px = picture.output_width;
    out.height_px = picture.output_height;
    out.rgba.assign(std::size_t{4} * out.width_px * out.height_px, 0);
    while (picture.output_scanline < picture.output_height) {
        JSAMPROW row = out.rgba.data() + std::size_t{4} * out.width_px * picture.output_scanline;
        jpeg_read_scanlines(&picture, &row, 1);
    }
    const int orientation = orientation_of(picture);
    jpeg_finish_decompress(&picture);
    jpeg_destroy_decompress(&picture);
    shrink(out, Photo::kLongest_px);
    turn_upright(out, orientation);
    return true;
}

struct DropSurface {
    void operator()(cairo_surface_t* s) const noexcept { cairo_surface_destroy(s); }
};
struct DropContext {
    void operator()(cairo_t* c) const noexcept { cairo_destroy(c); }
};
using Surface = std::unique_ptr<cairo_surface_t, DropSurface>;

/// On white, for paper.
bool read_png(std::string_view bytes, PicturePixels& out) {
    const auto size_at = [&](std::size_t at) {
        std::uint64_t value = 0;
        for (std::size_t i = at; i < at + 4; ++i) value = value << 8U | static_cast<unsigned char>(bytes[i]);
        return value;
    };
    constexpr std::size_t kWidthAt = 16, kHeightAt = 20, kHead = 24;
    if (!png_chunks_fit({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()})) return false;
    if (bytes.size() < kHead || size_at(kWidthAt) * size_at(kHeightAt) > kMostPixels) return false;
    const auto give = [](void* from, unsigned char* to, unsigned length) {
        auto& rest = *static_cast<std::string_view*>(from);
        if (rest.size() < length) return CAIRO_STATUS_READ_ERROR;
        std::memcpy(to, rest.data(), length);
        rest.remove_prefix(length);
        return CAIRO_STATUS_SUCCESS;
    };
    auto rest = bytes;
    const Surface stored{cairo_image_surface_create_from_png_stream(give, &rest)};
    if (cairo_surface_status(stored.get()) != CAIRO_STATUS_SUCCESS) return false;
    const int width = cairo_image_surface_get_width(stored.get());
    const int height = cairo_image_surface_get_height(stored.get());
    const Surface paper{cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height)};
    {
        const std::unique_ptr<cairo_t, DropContext> c{cairo_create(paper.get())};
        cairo_set_source_rgb(c.get(), 1.0, 1.0, 1.0);
        cairo_paint(c.get());
        cairo_set_source_surface(c.get(), stored.get(), 0.0, 0.0);
        cairo_paint(c.get());
        if (cairo_status(c.get()) != CAIRO_STATUS_SUCCESS) return false;
    }
    cairo_surface_flush(paper.get());
    out.width_px = static_cast<std::uint32_t>(width);
    out.height_px = static_cast<std::uint32_t>(height);
    out.rgba.clear();
    out.rgba.reserve(std::size_t{4} * out.width_px * out.height_px);
    const auto* const data = cairo_image_surface_get_data(paper.get());
    const auto stride = static_cast<std::size_t>(cairo_image_surface_get_stride(paper.get()));
    for (std::size_t y = 0; y < out.height_px; ++y)
        for (std::size_t x = 0; x < out.width_px; ++x) {
            std::uint32_t pixel = 0;
            std::memcpy(&pixel, data + y * stride + 4 * x, sizeof pixel);
            for (const unsigned shift : {16U, 8U, 0U}) out.rgba.push_back(static_cast<std::uint8_t>(pixel >> shift));
            out.rgba.push_back(0xff);
        }
    shrink(out, Photo::kLongest_px);
    return true;
}

bool write_jpeg(const PicturePixels& pixels, std::string& out) {
    unsigned char* written = nullptr;
    unsigned long length = 0;
    Errors errors{};
    jpeg_compress_struct picture{};
    picture.err = jpeg_std_error(&errors.base);
    keep_quiet(errors);
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
    PicturePixels pixels;
    const bool read = bytes.starts_with(kPng) ? read_png(bytes, pixels) : read_jpeg(bytes, pixels);
    Photo photo;
    if (!read || pixels.rgba.empty() || !write_jpeg(pixels, photo.jpeg))
        return Error{"the picture cannot be decoded: it is damaged, larger than 120 million pixels, or of a rare kind",
                     "Save it as JPEG again."};
    photo.width_px = pixels.width_px;
    photo.height_px = pixels.height_px;
    return photo;
}

}  // namespace idlehark
