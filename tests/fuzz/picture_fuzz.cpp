// Photos: size and orientation out of the head, the camera's data taken out; and the line that remembers the window.
#include "gui/map/bay_picture.hpp"
#include "gui/shell/window_memory.hpp"
#include "src/casebook/picture_store.hpp"
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

void try_picture(std::string_view text) {
    constexpr std::uint64_t kDecoded_px = 300'000;  // larger ones would only make this slow
    const std::span bytes{reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
    const auto head = gui::read_head(bytes);
    must(head.orientation >= 1 && head.orientation <= 8, "an orientation is one of eight");
    const bool small = std::uint64_t{head.width_px} * head.height_px <= kDecoded_px;
    if (head.fault.empty() && small) {
        const auto picture = gui::decode_picture(bytes);
        must(!picture.fault.empty() || picture.rgba.size() == std::size_t{4} * picture.width_px * picture.height_px,
             "as many pixels as its size says");
        must(!picture.fault.empty() ||
                 (picture.width_px <= gui::kLongestSide_px && picture.height_px <= gui::kLongestSide_px),
             "small enough for a graphics card");
    }
    const auto clean = without_camera_data(text);
    if (!clean) return;
    must(clean->size() <= text.size(), "taking something out makes nothing longer");
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
