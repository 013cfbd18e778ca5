#include "dsp/picture/jpeg_pixels.hpp"

#include <csetjmp>
#include <cstddef>
#include <cstdio>

#include <jerror.h>
#include <jpeglib.h>

namespace idlehark {

namespace {

constexpr int kMostScans = 200;  // cameras write one, progressive pictures about ten; more only take time

struct Errors {
    jpeg_error_mgr base;  // first: libjpeg hands out a pointer to it
    std::jmp_buf way_out;
    bool damaged;
};

Errors& errors_of(j_common_ptr picture) { return *reinterpret_cast<Errors*>(picture->err); }

[[noreturn]] void leave(j_common_ptr picture) { std::longjmp(errors_of(picture).way_out, 1); }

/// libjpeg fills up what is missing and only warns; bytes too many between two markers are harmless.
void warned(j_common_ptr picture, int level) {
    if (level < 0 && picture->err->msg_code != JWRN_EXTRANEOUS_DATA) errors_of(picture).damaged = true;
}

void count_scans(j_common_ptr picture) {
    if (reinterpret_cast<j_decompress_ptr>(picture)->input_scan_number > kMostScans) leave(picture);
}

}  // namespace

bool jpeg_pixels(std::span<const std::uint8_t> file, std::uint32_t width_px, std::uint32_t height_px,
                 std::vector<std::uint8_t>& rgba) {
    rgba.assign(std::size_t{4} * width_px * height_px, 0);
    Errors errors{};
    jpeg_decompress_struct picture{};
    jpeg_progress_mgr progress{};
    picture.err = jpeg_std_error(&errors.base);
    errors.base.error_exit = leave;
    errors.base.emit_message = warned;
    errors.base.output_message = [](j_common_ptr) {};
    progress.progress_monitor = count_scans;
    // Nothing below may have a destructor: an error jumps back to here.
    if (setjmp(errors.way_out) != 0) {
        jpeg_destroy_decompress(&picture);
        return false;
    }
    jpeg_create_decompress(&picture);
    picture.progress = &progress;
    jpeg_mem_src(&picture, file.data(), static_cast<unsigned long>(file.size()));
    jpeg_read_header(&picture, TRUE);
    picture.out_color_space = JCS_EXT_RGBA;
    jpeg_start_decompress(&picture);
    if (picture.output_width != width_px || picture.output_height != height_px)
        leave(reinterpret_cast<j_common_ptr>(&picture));
    while (picture.output_scanline < picture.output_height) {
        JSAMPROW row = rgba.data() + std::size_t{4} * width_px * picture.output_scanline;
        jpeg_read_scanlines(&picture, &row, 1);
    }
    jpeg_finish_decompress(&picture);
    jpeg_destroy_decompress(&picture);
    return !errors.damaged;
}

}  // namespace idlehark
