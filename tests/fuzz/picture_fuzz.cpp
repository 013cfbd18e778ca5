// Photos: size and orientation out of the head, the camera's data taken out, made ready for a page; and the line that
// remembers the window.
#include "dsp/picture/picture_file.hpp"
#include "gui/shell/window_memory.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/report/photo.hpp"
#include "tests/fuzz/fuzz.hpp"

#include <vector>

using namespace idlehark;
using fuzz::must;

namespace {

void try_window(std::string_view text) {
    const auto memory = gui::memory_from_text(std::string{text});
    if (!memory) return;
    must(memory->w >= 320 && memory->w <= 32768 && memory->h <= 32768, "a window has a size that it can have");
    must(gui::memory_from_text(gui::to_text(*memory)).has_value(), "what is written can be read");
}

/// As a report shows it.
void try_page(std::string_view text) {
    const auto photo = page_photo(text);
    if (!photo) return;
    const auto& p = photo.value();
    must(p.width_px > 0 && p.height_px > 0, "a photo has a size");
    must(p.width_px <= Photo::kLongest_px && p.height_px <= Photo::kLongest_px, "small enough for a page");
    must(p.jpeg.starts_with("\xff\xd8\xff\xe0"), "a JPEG that begins with no camera's data");
}

void try_picture(std::string_view text) {
    constexpr std::uint32_t kLongestSide_px = 2048;
    constexpr std::uint64_t kDecoded_px = 300'000;  // larger ones would only make this slow
    const std::span bytes{reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
    const auto head = read_head(bytes);
    must(head.orientation >= 1 && head.orientation <= 8, "an orientation is one of eight");
    const bool small = std::uint64_t{head.width_px} * head.height_px <= kDecoded_px;
    if (head.fault.empty() && small) {
        const auto picture = decode_picture(bytes, kLongestSide_px);
        const auto& p = picture.pixels;
        must(!picture.fault.empty() || p.rgba.size() == std::size_t{4} * p.width_px * p.height_px,
             "as many pixels as its size says");
        must(!picture.fault.empty() || (p.width_px <= kLongestSide_px && p.height_px <= kLongestSide_px),
             "small enough for a graphics card");
        try_page(text);
    }
    const auto clean = without_camera_data(text);
    if (!clean) return;
    constexpr std::size_t kOrientation_bytes = 36;  // which way up it is, in a segment of its own
    must(clean->size() <= text.size() + kOrientation_bytes, "taking something out makes nothing longer");
    must(without_camera_data(*clean) == clean, "nothing more is found in what was cleaned");
    must(clean->find("Exif\0\0") == std::string::npos || text.find("Exif\0\0") != std::string::npos,
         "nothing is put in");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    try_window(fuzz::text_of(data, size));
    try_picture(fuzz::text_of(data, size));
    return 0;
}
